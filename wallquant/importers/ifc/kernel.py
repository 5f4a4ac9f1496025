"""The geometry kernel, for bodies that only it can evaluate: in a child process, one item at a time, with limits of time and memory.

Nothing here is loaded by models whose bodies can be read from their attributes.
"""

from __future__ import annotations

import json
import os
import pathlib
import select
import subprocess
import sys
import time
from collections.abc import Sequence

import numpy as np

from wallquant.importers.ifc.frames import Entity, Unreadable
from wallquant.importers.ifc.solids import Points

ITEM_SECONDS = 20.0
"""Time for one item."""
LOAD_SECONDS = 60.0
"""Time for the child to load the model."""
LOST_SECONDS = 40.0
"""Time that a model may lose to items that had to be ended; then the rest is not tried."""
MEMORY_BYTES = 4 * 2**30
"""Address space of the child."""
CHILD = (sys.executable, "-m", "wallquant.importers.ifc.kernel_child")


class Kernel:
    """Asks a child process for the faces of items of one model.

    Parameters
    ----------
    path : pathlib.Path
        The model's file.
    scale : float
        Millimetres in one length unit, as this reader understands the model.
    command : sequence of str
        What to start; the path, the memory limit and the file descriptor of the answers are added.
    seconds, loading : float
        Limits for one item, and for the child to load the model.
    """

    def __init__(
        self,
        path: pathlib.Path,
        scale: float,
        command: Sequence[str] = CHILD,
        seconds: float = ITEM_SECONDS,
        loading: float = LOAD_SECONDS,
    ) -> None:
        self.path = path
        self.scale = scale
        self.command = tuple(command)
        self.seconds = seconds
        self.loading = loading
        self.lost = 0.0
        self._child: subprocess.Popen[bytes] | None = None
        self._answers = -1
        self._buffer = b""
        self._unit = 0.0
        self._told: dict[int, list[Points] | str] = {}

    def faces(self, item: Entity) -> list[Points]:
        """Return the faces of an item in its own coordinates, in mm.

        Raises
        ------
        Unreadable
            If the kernel cannot evaluate it, takes too long, dies, or answers for another item.
        """
        number = int(item.id())
        if number not in self._told:
            try:
                self._told[number] = self._ask(number)
            except Unreadable as reason:
                self._told[number] = str(reason).format(kind=item.is_a())
        told = self._told[number]
        if isinstance(told, str):
            raise Unreadable(told)
        return told

    def close(self) -> None:
        """End the child, if there is one."""
        if self._child is not None:
            self._child.kill()
            self._child.wait()
            for stream in (self._child.stdin, self._child.stdout):
                if stream is not None:
                    stream.close()
            os.close(self._answers)
        self._child, self._answers, self._buffer = None, -1, b""

    def _ask(self, number: int) -> list[Points]:
        if self.lost >= LOST_SECONDS:
            raise Unreadable("its body is an {kind}, and the geometry kernel has spent its time on other walls of this model")
        began = time.monotonic()
        try:
            child = self._started()
            began = time.monotonic()
            assert child.stdin is not None
            child.stdin.write(f"{number}\n".encode())
            child.stdin.flush()
            head = json.loads(self._line(self.seconds))
        except TimeoutError:  # an OSError too
            self._ended()
            self.lost += time.monotonic() - began
            text = f"its body is an {{kind}}, on which the geometry kernel took more than {self.seconds:g} seconds"
            raise Unreadable(text) from None
        except (OSError, LookupError, TypeError, ValueError):
            code = self._ended()
            self.lost += time.monotonic() - began
            raise Unreadable(f"its body is an {{kind}}, on which the geometry kernel broke down ({code})") from None
        if head.get("item") != number:
            self.close()
            raise Unreadable("its body is an {kind}, for which the geometry kernel returned another shape")
        if "error" in head:
            raise Unreadable("its body is an {kind}, which the geometry kernel cannot evaluate")
        if not self._unit > 0:
            raise Unreadable("its body is an {kind}, and the geometry kernel knows no unit of length for this model")
        # the kernel can take the model's unit for another one; what it takes it for was measured
        points = np.array(head["points"], dtype=np.float64).reshape(-1, 3) * (self.scale / self._unit)
        return [points[one] for one in np.array(head["triangles"], dtype=np.int64).reshape(-1, 3)]

    def _started(self) -> subprocess.Popen[bytes]:
        if self._child is None:
            self._answers, out = os.pipe()
            try:
                self._child = subprocess.Popen(
                    [*self.command, str(self.path), str(MEMORY_BYTES), str(out)], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL, pass_fds=(out,), env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
                )  # fmt: skip
            finally:
                os.close(out)
                if self._child is None:
                    os.close(self._answers)
            self._unit = float(json.loads(self._line(self.loading))["unit_mm"])
        return self._child

    def _line(self, seconds: float) -> bytes:
        """The child's next line, or `TimeoutError`; `ValueError` where it has ended."""
        end = time.monotonic() + seconds
        while b"\n" not in self._buffer:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self._answers], [], [], left)[0]:
                raise TimeoutError
            more = os.read(self._answers, 1 << 20)
            if not more:
                raise ValueError("the child has ended")
            self._buffer += more
        line, self._buffer = self._buffer.split(b"\n", 1)
        return line

    def _ended(self) -> str:
        """End the child and say how it ended."""
        child = self._child
        if child is None:
            return "it did not start"
        try:
            code = child.wait(timeout=0.2)
        except subprocess.TimeoutExpired:
            code = 0
        self.close()
        return f"signal {-code}" if code < 0 else f"exit code {code}"
