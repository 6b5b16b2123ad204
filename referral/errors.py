"""What can go wrong above the core, in words without HTTP; one table maps them to statuses."""


class ReferralError(Exception):
    """Base of ours: one plain sentence for the person who must mend it."""

    def __init__(self, message: str = "") -> None:
        super().__init__(message)
        self.message = message or (self.__doc__ or "")


class NotFound(ReferralError):
    """There is nothing here, or nothing that you may see."""


class NotAllowed(ReferralError):
    """Your role does not allow this."""


class WrongState(ReferralError):
    """The case is not at the point where this can be done."""


class OutOfDate(ReferralError):
    """The case has moved on since you opened this page."""


class TooLarge(ReferralError):
    """The file is larger than this page takes."""


class Invalid(ReferralError):
    """What was sent cannot be used; ``faults`` says what, field by field."""

    def __init__(self, message: str = "", faults: dict[str, list[str]] | None = None) -> None:
        super().__init__(message)
        self.faults: dict[str, list[str]] = faults or {}


class SettingsFault(ReferralError):
    """A setting is missing or wrong."""
