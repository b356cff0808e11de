"""The cautions that stand beside every rebuild advice: one text for every place."""

CAUTIONS: tuple[str, ...] = (
    "Isolate and lock out the air supply before anything else.",
    "Relieve air and fluid pressure on both sides of the pump, suction and discharge.",
    "After a rupture expect process fluid in the air side and at the exhaust: keep clear of it "
    "and pipe it to a safe place.",
    "Drain, flush and treat residues by the safety data sheet.",
    "Earth and bond pump, hoses and containers in flammable service.",
    "Tighten nothing under pressure.",
    "The maker's manual, torque values and part compatibility prevail.",
    "An interval from statistics never overrides an inspection, a legal limit or the judgement "
    "of a licensed engineer.",
    "Few or no failures do not prove safety.",
    "A change of elastomer needs a chemical-compatibility check and management of change.",
)
"""Sentences, in the order in which the work meets them."""

CAUTIONS_TITLE = "Before any rebuild"


def write_cautions(*, bullet: str = "- ") -> str:
    """Give the cautions as plain text, a title and one line each.

    Parameters
    ----------
    bullet : str
        What each line starts with.

    Returns
    -------
    str
        Ready for a notebook cell, a ticket or a sheet.
    """
    return "\n".join([CAUTIONS_TITLE, *(bullet + caution for caution in CAUTIONS)])
