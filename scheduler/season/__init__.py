"""The season: what is due, the ledger of what was done."""
