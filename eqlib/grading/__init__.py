"""What the instructor runs: a class marked in bulk, the gradebook, the report."""
