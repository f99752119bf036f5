"""Memory this process holds and can still get, what the settings allow of it, and the processors it may use."""

import os
from contextlib import suppress
from pathlib import Path

import psutil

from hardpan.core.memory import BYTES_PER_GB, Memory, MemorySettings, gigabytes
from hardpan.core.said import percent
from hardpan.records.farm import WHOLE_MACHINE, Allotment

_SELF = Path("/proc/self")
"""Where Linux tells what a process holds."""

_CGROUPS = Path("/sys/fs/cgroup")
"""Where Linux tells the limits of containers and batch jobs."""


def memory_of(settings: MemorySettings, allotment: Allotment = WHOLE_MACHINE) -> Memory:
    """Memory that settings and machine, or a part of it, allow now, what this process holds already included."""
    held = held_bytes()
    if settings.most_gb is not None:
        return Memory(limit_bytes=settings.most_gb * BYTES_PER_GB, why="memory.most_gb", held_bytes=held)
    why = f"{percent(settings.share)} of what is free here (memory.share)"
    if allotment.free_bytes is not None:
        part = max(settings.share * allotment.free_bytes, settings.always_gb * BYTES_PER_GB)
        why = (
            f"{percent(settings.share)} (memory.share) of the {gigabytes(allotment.free_bytes)} for each run at a time"
        )
        return Memory(limit_bytes=part, why=why, held_bytes=held)
    limit = max(settings.share * (held + free_bytes()), settings.always_gb * BYTES_PER_GB)
    return Memory(limit_bytes=limit, why=why, held_bytes=held)


def held_bytes() -> int:
    """Memory this process holds."""
    return int(psutil.Process().memory_info().rss)


def begin_peak() -> None:
    """Forget the peak of this process so far, where the system can: what `peak_bytes` tells begins anew."""
    with suppress(OSError):
        (_SELF / "clear_refs").write_text("5", encoding="ascii")  # proc(5): resets the peak resident set size


def peak_bytes() -> float | None:
    """Most memory this process held since `begin_peak`; None where the system does not tell."""
    peaks = [line.split() for line in _lines(_SELF / "status") if line.startswith("VmHWM:")]
    return float(peaks[0][1]) * 1024.0 if peaks else None


def free_bytes() -> int:
    """Memory this process can still get: of the machine, its container or batch job, and its own address space."""
    return max(0, min(int(psutil.virtual_memory().available), *_left_in_groups(), *_left_to_address()))


def usable_cores() -> int:
    """Processors this process may use."""
    return len(psutil.Process().cpu_affinity()) if hasattr(psutil.Process, "cpu_affinity") else os.cpu_count() or 1


def _left_in_groups() -> list[int]:
    """Memory left in each control group that holds this process, of either version; none where there is no limit."""
    left = []
    for line in _lines(Path("/proc/self/cgroup")):
        _, kinds, name = line.split(":", 2)
        if kinds not in {"", "memory"}:
            continue
        root = _CGROUPS / kinds
        limit, used = ("max", "current") if not kinds else ("limit_in_bytes", "usage_in_bytes")
        own = root / name.lstrip("/")
        for group in (own, *own.parents):
            numbers = [next(iter(_lines(group / f"memory.{which}")), "") for which in (limit, used)]
            if all(number.isdigit() for number in numbers):
                left.append(int(numbers[0]) - int(numbers[1]) + _reclaimable(group))
            if group == root:
                break
    return left


def _reclaimable(group: Path) -> int:
    """Memory of a control group that holds copies of files, which gives way."""
    counts = dict(line.split(maxsplit=1) for line in _lines(group / "memory.stat") if " " in line)
    return int(counts.get("inactive_file", counts.get("total_inactive_file", 0)))


def _left_to_address() -> list[int]:
    """Address space left to this process; none where it has no limit."""
    if os.name != "posix":
        return []
    import resource  # noqa: PLC0415 - POSIX systems only

    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    return [] if limit == resource.RLIM_INFINITY else [limit - int(psutil.Process().memory_info().vms)]


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text(encoding="utf-8").splitlines()
    except OSError:
        return []
