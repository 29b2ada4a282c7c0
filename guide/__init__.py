"""Wadeline: a field guide that talks in plain text messages."""

__version__ = "0.1.0"
