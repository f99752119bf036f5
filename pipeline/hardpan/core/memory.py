"""Memory a run may take, and the refusal of what takes more."""

from dataclasses import dataclass

from hardpan.core.errors import SettingsError
from hardpan.core.settings import Settings, setting

BYTES_PER_GB = 1e9


class MemorySettings(Settings):
    """The `[memory]` table."""

    share: float = setting(
        0.8, says="Share of the memory free at the start that a run may take; more is refused beforehand", gt=0, le=1
    )
    always_gb: float = setting(
        1.0, says="Memory a run may take however little is free: less is never refused", unit="GB", ge=0
    )
    most_gb: float | None = setting(None, says="Memory a run may take, whatever is free", unit="GB", gt=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """Memory a run may take."""

    limit_bytes: float
    why: str
    """What the limit comes from."""
    held_bytes: float = 0.0
    """What the process holds already."""

    def refuse_beyond(self, more_bytes: float, *, what: str, where: str, do: str) -> None:
        """Refuse work that takes more than the limit, `more_bytes` on top of what is held.

        Raises
        ------
        SettingsError
            With both figures; `what` is followed by the memory it would take.
        """
        need_bytes = self.held_bytes + more_bytes
        if need_bytes > self.limit_bytes:
            raise SettingsError(
                what=f"{what} would take about {gigabytes(need_bytes)} of memory",
                where=where,
                right=f"at most {gigabytes(self.limit_bytes)}, {self.why}",
                do=do,
            )


UNLIMITED = Memory(limit_bytes=float("inf"), why="no limit")


def gigabytes(count: float) -> str:
    """Bytes in words."""
    return f"{count / BYTES_PER_GB:.1f} GB"
