"""Invented studios of five kinds, each with physics and habits of its own."""

from helpers.kinds.careful import careful, surprises_only
from helpers.kinds.rules_of_thumb import rules_of_thumb
from helpers.kinds.school import school
from helpers.kinds.threes import threes

KINDS = {
    "rules": rules_of_thumb,
    "careful": careful,
    "surprises": surprises_only,
    "school": school,
    "threes": threes,
}
"""Kind -> a function of a seed, which gives a `Studio`."""

PASSING = {
    "rules": (0.04, 0.45),
    "careful": (0.005, 0.06),
    "surprises": (0.005, 0.09),
    "school": (0.05, 0.3),
    "threes": (0.15, 0.45),
}
"""Kind -> the least and the largest share of planned pots that pass, of most seeds."""
