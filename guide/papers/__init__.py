"""What leaves the record on paper, or as texts to type by hand."""
