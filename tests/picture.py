"""Draws what ``wadeline chat`` shows on an 80x24 terminal: ``python -m tests.picture`` writes the
README's picture. Needs tmux."""

import shlex
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from xml.sax.saxutils import escape

PICTURE = Path(__file__).parent.parent / "transcripts_demo" / "terminal.svg"
TEXTS = (
    "3",
    "k1",
    "sunny still weed silt",
    "3",
    "0",
    "n",
    "1",
    "1",
    "40 cm",
    "22 C",
    "none",
    "n",
    "n",
    "ok",
    "y",
    "ok",
    "27,5",
    "darnr",
)
CELL_W, CELL_H = 8.4, 18


def screen() -> list[str]:
    """The lines of the screen after the first larva is tagged, as tmux has them."""
    with tempfile.TemporaryDirectory() as folder:
        chat = shlex.join([sys.executable, "-m", "guide.cli", "chat", "--db", f"{folder}/record.db", "--seed", "3"])
        tmux("new-session", "-d", "-x", "80", "-y", "24", chat)
        try:
            for words in ("", *TEXTS):
                tmux("send-keys", words, "Enter") if words else None
                time.sleep(1 if not words else 0.5)
            return tmux("capture-pane", "-p").splitlines()
        finally:
            tmux("kill-server")


def tmux(*args: str) -> str:
    """Runs a tmux command on a server of our own."""
    command = ["tmux", "-L", "wadeline-picture", "-f", "/dev/null", *args]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def svg(lines: list[str]) -> str:
    """Lines of text as a picture of a terminal, light on dark, the bar inverted."""
    width, height = 80 * CELL_W + 24, len(lines) * CELL_H + 24
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height}" '
        'font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="14">',
        "<title>wadeline chat in a terminal</title>",
        f'<rect width="{width:.0f}" height="{height}" rx="8" fill="#1d2428"/>',
    ]
    for row, line in enumerate(lines):
        top = 12 + row * CELL_H
        bar = row == len(lines) - 1
        if bar:
            parts.append(f'<rect x="12" y="{top}" width="{80 * CELL_W:.0f}" height="{CELL_H}" fill="#cfd8d3"/>')
        ink = "#1d2428" if bar else "#9fd3c7" if line.startswith(">") else "#e8ecea"
        parts.append(
            f'<text x="12" y="{top + 14}" fill="{ink}" xml:space="preserve" textLength="{len(line) * CELL_W:.0f}">'
            f"{escape(line)}</text>"
        )
    return "\n".join([*parts, "</svg>", ""])


if __name__ == "__main__":
    PICTURE.write_text(svg(screen()), "utf-8")
    sys.stdout.write(f"{PICTURE}\n")
