"""The errors a user can cause: what, where, what would be right, what to do."""


class HardpanError(Exception):
    """One plain sentence for the person at the keyboard.

    Parameters
    ----------
    what : str
        What is wrong.
    where : str
        File, row, feature, or configuration key.
    right : str
        What would have been right.
    do : str
        What to do next.
    """

    def __init__(self, *, what: str, where: str = "", right: str = "", do: str = "") -> None:
        self.what, self.where, self.right, self.do = what, where, right, do
        super().__init__(what, where, right, do)

    def __str__(self) -> str:
        """Give the one line that is printed."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        tail = [f"expected {self.right}" if self.right else "", self.do]
        return " ".join("; ".join([head, *filter(None, tail)]).split())


class SettingsError(HardpanError):
    """The configuration asks for something that cannot be."""


class InputError(HardpanError):
    """A file cannot be used as it is (the outcome *reject*)."""


class AmbiguousInputError(InputError):
    """A file can be read in two ways that change numbers (the outcome *ask*): `do` names the option that decides."""
