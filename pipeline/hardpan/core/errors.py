"""The errors a user can cause: what, where, what would be right, what to do; and text from outside made fit to tell."""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")
"""Control characters but tab and line ends, halves of pairs, and code points that are no characters: XML, HTML and most
readers refuse them."""
_LINE_END = re.compile("[\r\n\u2028\u2029]+")


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
        """One line that is printed."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        tail = [f"expected {self.right}" if self.right else "", self.do]
        return clean(" ".join("; ".join([head, *filter(None, tail)]).split()))


class SettingsError(HardpanError):
    """The configuration asks for something that cannot be."""


class InputError(HardpanError):
    """A file cannot be used as it is (the outcome *reject*)."""


class AmbiguousInputError(InputError):
    """A file can be read in two ways that change numbers (the outcome *ask*): `do` names the option that decides."""


class SeveralErrors(SettingsError, InputError):  # noqa: N818
    """Several errors that were found in one pass: one line each.

    Parameters
    ----------
    errors : sequence of HardpanError
        In the order they were met, at least one.
    """

    def __init__(self, errors: Sequence[HardpanError]) -> None:
        self.errors: tuple[HardpanError, ...] = tuple(errors)
        first = self.errors[0]
        super().__init__(what=first.what, where=first.where, right=first.right, do=first.do)

    def __str__(self) -> str:
        """One line an error, each once."""
        return "\n".join(dict.fromkeys(map(str, self.errors)))


class Faults:
    """Gathers the errors of steps that do not hang on one another, so that all are told in one pass."""

    def __init__(self) -> None:
        self.errors: list[HardpanError] = []

    @contextmanager
    def gathered(self) -> Iterator[None]:
        """Keep an error a user can cause and go on."""
        try:
            yield
        except HardpanError as err:
            self.keep(err)

    def keep(self, err: HardpanError) -> None:
        """Note an error, or each of several."""
        self.errors.extend(err.errors if isinstance(err, SeveralErrors) else [err])

    def as_one(self) -> HardpanError:
        """The only error, or `SeveralErrors`; there must be one."""
        return self.errors[0] if len(set(map(str, self.errors))) == 1 else SeveralErrors(self.errors)

    def refuse(self) -> None:
        """Raise what was gathered, if anything.

        Raises
        ------
        HardpanError
            The only error, or `SeveralErrors`.
        """
        if self.errors:
            raise self.as_one()


class ReadBackError(HardpanError):
    """A file read again does not say what was to be written: a fault of this tool, not of the input.

    Parameters
    ----------
    found, where, planned : str
        What is read, in which file, and what it should be.
    why : str
        What can do that.
    kept : str
        Folder in which the files are left, unchecked; "" where nothing is left.
    """

    def __init__(self, *, found: str, where: str, planned: str, why: str, kept: str = "") -> None:
        self.found, self.planned, self.why = found, planned, why
        gone = "nothing was written: run again with --keep, and report the fault with the folder that leaves"
        left = f"the files are left in {kept}, unchecked: let no machine have them, and report the fault with them"
        super().__init__(what=f"read back, {found}", where=where, right=planned, do=f"{why}; {left if kept else gone}")

    def kept_in(self, folder: str) -> "ReadBackError":
        """Same error where the files are left in `folder`."""
        return ReadBackError(found=self.found, where=self.where, planned=self.planned, why=self.why, kept=folder)


def clean(text: str) -> str:
    """The text on one line, each control character replaced by U+FFFD."""
    if text.isprintable():
        return text
    return _CONTROL.sub("\ufffd", _LINE_END.sub(" ", text))


def has_control(text: str) -> bool:
    """Whether the text holds a control character other than tab and line ends."""
    return _CONTROL.search(text) is not None
