"""What can be wrong with input to the core, each with one plain sentence."""


class CoreError(Exception):
    """Something given to the core cannot be used.

    ``message`` is one sentence for the person who must mend it; ``at`` is the
    dotted path of the offending value (``film.landmarks_px.p3_tip``) or empty.
    """

    def __init__(self, message: str, *, at: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.at = at


class DegenerateLine(CoreError):
    """Two points that must span a line lie on one spot."""


class DegenerateCircle(CoreError):
    """Points that must lie on a circle are too few, or lie on a line."""


class NotFinite(CoreError):
    """A number is NaN or infinite."""


class BadScale(CoreError):
    """A scale cannot be made from what was given."""


class UnknownLandmark(CoreError):
    """A landmark name that the view does not have."""


class UnknownMeasure(CoreError):
    """A reading code that the registry does not have."""


class ImpossiblePlan(CoreError):
    """A plan that no foot could follow."""


class BadRule(CoreError):
    """A rule or a limit that breaks the rulebook's own form."""


class WrongMove(CoreError):
    """A move that the case's state or the person's role does not allow."""
