"""The bench: colour, photometry, visibility, stocks and their cautions."""
