"""The trade's sums: pure functions with units in their names."""
