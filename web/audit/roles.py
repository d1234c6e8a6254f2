"""Who may do what about audits."""

READERS = ("auditor", "operator", "administrator")
"""Those who may read audits, have the book verified and take its signed head away."""

WRITER = "auditor"
"""Who enters remarks."""
