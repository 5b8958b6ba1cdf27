"""Signed records of checks, kept in a ledger on this machine."""
