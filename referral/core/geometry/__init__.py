"""Points, lines, circles and frames in the plane."""
