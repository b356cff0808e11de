"""What can go wrong, one class per thing the user must do next."""


class PumplifeError(Exception):
    """Any problem that a user of pumplife can mend; its words say how."""


class FolderError(PumplifeError):
    """The plant folder or workbook isn't there or can't be read: point to another one."""


class RecordError(PumplifeError):
    """A value in the records or arrays can't be true: correct the row that is named."""


class SettingError(PumplifeError):
    """A line of plant.toml can't be used: correct that line."""


class OutputError(PumplifeError):
    """The results can't be written there: choose another output folder."""


class ComparisonError(PumplifeError):
    """The older study can't be compared with today's: point to another one, or name none."""


class NoFiniteEstimate(PumplifeError):  # noqa: N818  (it is no fault of anyone's)
    """The likelihood has no maximum at a finite shape and scale: collect failures or give a shape.

    Attributes
    ----------
    end : str
        Where the likelihood keeps rising: "shape to infinity", "shape to zero",
        "scale to infinity" or "scale to zero".
    """

    def __init__(self, message: str, *, end: str) -> None:
        super().__init__(message)
        self.end = end
