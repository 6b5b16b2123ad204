"""Plans, their findings, the vet's review and the owner's consent."""
