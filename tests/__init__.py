"""Tests mirror the two halves, room by room; what crosses rooms has a folder of its own."""
