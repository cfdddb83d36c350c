"""The comps table: the documented columns, loading files into it, undoing a load, looking items up.

The names below are fetched when first asked for, so that a lookup does not pay for what a load needs.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sourcing.comps.load import load_file
    from sourcing.comps.table import batches, overview, problems
    from sourcing.comps.undo import undo_batch

__all__ = ["batches", "load_file", "overview", "problems", "undo_batch"]

_HOME = {
    "batches": "table",
    "load_file": "load",
    "overview": "table",
    "problems": "table",
    "undo_batch": "undo",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(name)
    return getattr(import_module(f"sourcing.comps.{_HOME[name]}"), name)
