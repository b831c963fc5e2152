"""How fast time logs are read: a real log of 4,716 records and 26 channels, a hundred times over.

Run: PROOFSTRIP_REAL_DATA=... python tests/benchmarks/task_log_speed.py
"""

import os
import tempfile
import time
from pathlib import Path

from proofstrip.read.task_log.binary import Channel, read_layout, read_log

REPEATS = 100
TRIES = 3
HARVEST = (0x57, 0x63, 0x43, 0x8D)


def main() -> None:
    """Read every channel, then those of a harvest alone, and print records a second of processor time at their best."""
    real = Path(os.environ["PROOFSTRIP_REAL_DATA"]) / "task_log" / "TLG00001.bin"
    layout = read_layout(real.with_suffix(".xml"))
    harvest = [channel for channel in layout.channels if channel.ddi in HARVEST]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / real.name
        path.write_bytes(real.read_bytes() * REPEATS)
        for what, channels in (("all channels", list(layout.channels)), ("those of a harvest", harvest)):
            seconds, records = min(_measure(path, channels) for _ in range(TRIES))
            print(f"{what}: {records:,} records in {seconds:.2f} s, {records / seconds:,.0f} a second, best of {TRIES}")


def _measure(path: Path, channels: list[Channel]) -> tuple[float, int]:
    """Read a log with some channels."""
    began = time.process_time()
    log = read_log(path, read_layout(Path(os.environ["PROOFSTRIP_REAL_DATA"]) / "task_log" / "TLG00001.xml"))
    for channel in channels:
        log.channel(channel)
    for name in ("latitude", "longitude"):
        log.field(name)
    assert len(log.local_s) == len(log.starts)
    return time.process_time() - began, len(log.starts)


if __name__ == "__main__":
    main()
