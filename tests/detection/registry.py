"""The table of faults: each maker states its fault, measurement, what counts as found, and how much that proves."""
from score import Fault

FAULTS = []


def fault(id, title, measures, accept, kind, *needs, rules=()):
    def enter(make):
        FAULTS.append(Fault(id, title, tuple(measures.split()), accept, kind, make, set(needs), tuple(rules)))
        return make
    return enter


# Faults of the map which this bench does not plant, with the reason.
NOT_PLANTED = {
    "C06": "needs a file above 4 GiB; a unit test holds it",
    "C11": "a statement of format, asked by profile; a unit test holds it",
    "M02": "needs a second file", "M03": "needs the set", "L15": "needs the set",
    "L19": "needs a second file", "E06": "needs the set", "E12": "needs the set", "K10": "needs a second file",
    "P01": "needs a second file", "P03": "needs a second file", "P11": "needs a second file",
    "V04": "needs a second file", "V05": "needs the set", "V06": "needs the set",
    "G01": "needs an order", "G05": "needs the set", "G12": "needs the set", "G14": "needs the set",
    "M09": "limits of one profile on `duration` and `frames`, which M08 plants",
}
