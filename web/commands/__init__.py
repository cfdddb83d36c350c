"""The commands, one subject a module; what is heavy is imported when a command runs."""
