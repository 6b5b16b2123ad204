"""Films: pictures, their scale, landmarks placed on them, and the readings."""
