"""Who may do what with proposals."""

PROPOSERS = ("operator", "administrator")
"""Who proposes an edition; one of them, never the proposer, adopts it."""

READERS = ("operator", "auditor", "administrator")
"""Who reads proposals and what they would change."""
