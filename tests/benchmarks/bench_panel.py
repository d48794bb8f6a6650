"""How long a panel takes in the kernel: its first stress, and 200 moves of a slider beside one disturbance.

Processor time, so that a busy machine does not change the figures. Run this file with the project's Python.
"""

import json
import random
import shutil
import statistics
import tempfile
from pathlib import Path
from time import process_time

from eqlib.assess.load import load_questions
from eqlib.chem.disturb import disturb
from eqlib.notebook.panels import Panel
from eqlib.notebook.store import Store

COURSE = Path(__file__).parents[2] / "notebooks" / "source" / "04-disturbing-an-equilibrium"
ANSWER = {
    "direction": "none",
    "seen": "same",
    "precipitate": "no",
    "K": "same",
    "reason": "not_in_equation",
    "confidence": "fairly",
}


def timed(call):
    """Milliseconds of processor time."""
    start = process_time()
    call()
    return 1000 * (process_time() - start)


def main():
    """Print the figures."""
    folder = Path(tempfile.mkdtemp())
    shutil.copy(COURSE / "questions.toml", folder)
    questions = load_questions(folder)
    panel = Panel(questions["silver"], Store(questions, folder))
    values = {f"silver/{part}": value for part, value in ANSWER.items()}
    print(f"first drawing  {timed(panel.draw):7.1f} ms")
    print(f"recording      {timed(lambda: panel.on_record(values, '')):7.1f} ms")
    print(f"first stress   {timed(lambda: panel.on_doit(values, '')):7.1f} ms, the film with it")
    print(f"outcome        {timed(lambda: panel.on_over(values, '')):7.1f} ms")
    panel.on_try(values, "")
    chance = random.Random(1)
    switches = {f"silver/try/{name}": False for name in ("above", "grey", "alone")}
    moves = []
    for _ in range(200):
        moved = {**values, **switches, "silver/try/volume": chance.uniform(0.01, 0.6)}
        moves.append(timed(lambda moved=moved: panel.on_slide(moved, "")))
    moves.sort()
    d = panel.scene.d
    bare = statistics.median(timed(lambda: disturb(d.before.mixture, d.stress)) for _ in range(50))
    print(f"slider         {statistics.median(moves):7.1f} ms median, {moves[189]:.1f} ms 95th percentile")
    print(f"one disturb    {bare:7.1f} ms; a move is {statistics.median(moves) / bare:.1f} of them")
    print(f"the page       {len(json.dumps(panel.page)) / 1000:7.1f} kB")


if __name__ == "__main__":
    main()
