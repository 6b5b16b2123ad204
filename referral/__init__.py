"""Referral: one horse's foot case, shared by a vet and a farrier, measured and signed."""
