"""`tailsway book` with all its commands, ready to be hung onto the command line."""

from __future__ import annotations

from ui import command_correct, command_evidence, command_safe, command_tuning
from ui.command_logbook import book

PARTS = (command_evidence, command_correct, command_safe, command_tuning)
"""Modules that hang their commands onto `book` when they are imported."""

__all__ = ["PARTS", "book"]
