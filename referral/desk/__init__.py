"""What waits on whom: the case list, the case page, the timeline."""
