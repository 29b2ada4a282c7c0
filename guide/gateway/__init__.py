"""Texts in and out."""
