"""What ``desk fix`` can do with a sample."""

ACTS = ("length", "family", "tag", "swap", "void", "keep", "flag", "unflag", "note")
