"""The two faces of the application: pages with their JSON twins, and the command line."""
