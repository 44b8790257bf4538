"""Tests, by kind of evidence."""
