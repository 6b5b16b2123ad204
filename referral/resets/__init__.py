"""What was really fitted, its differences from the plan, and the next date."""
