"""Why a tank has no forecast, in the words of a report."""

WHY_NOT = {
    "out of use": "it, or its van, is out of use; no water is drawn from it.",
    "grade unknown": "no record says which grade of resin is in it.",
    "softening bed": "it is a softening bed: hardness at its outlet tells when it is spent.",
    "no model": "no loaded model speaks for its grade of resin.",
    "no limit": "no rule in force says at which outlet TDS its charge ends.",
    "begin unknown": "the records do not show when its resin was loaded.",
    "volume unknown": "the volume of its resin is not on record.",
    "use unknown": "what its resin took up is not known: the water of a rinse is not on record, or "
    "the inlet was not read before it.",
    "inlet unknown": "its inlet water was not read.",
    "nothing believed": "the model of its grade states no capacity that can be reckoned with.",
    "few days": "it has been on record for less than a week, which says nothing of its demand.",
    "not in demand": "no water was drawn from it in the last twelve weeks.",
}
"""What is missing, the first that applies counts, and how a report puts it after the tank."""
