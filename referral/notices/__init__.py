"""What is told to whom: the inbox."""
