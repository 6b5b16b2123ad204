"""A plan moves the foot's landmarks; the same measures are read off the moved foot."""
