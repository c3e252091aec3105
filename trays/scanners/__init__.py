"""Workstations and their scanners: how each sends a code, and the page that finds it out."""
