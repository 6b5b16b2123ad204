"""The farrier's own assessment of the feet: what is seen, before anything is planned."""
