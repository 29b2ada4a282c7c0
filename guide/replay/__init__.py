"""Whole conversations as plain text: read, played over a fresh record, held against the guide, shown like a film."""
