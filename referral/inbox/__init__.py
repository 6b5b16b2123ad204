"""What a person is told: the inbox, mail and its wishes."""
