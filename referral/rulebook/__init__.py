"""The rules as files, one a rule, and the strict loader that reads them."""
