"""The rules of the vetting, a file for each topic: small functions that take the `Desk` and yield problems."""
