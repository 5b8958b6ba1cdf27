"""Campaigns on the ledger: invented checks, recorded by the thousand, killed, changed, timed."""
