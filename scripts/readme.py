"""Writes the generated parts of README.md again: the table of functions and the output of the demo."""
from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(HOME))


def functions_table() -> str:
    from calc import functions, tables
    lines = ["| function | gives | source |", "|---|---|---|"]
    for function in functions.REGISTRY:
        about = functions.describe(function)
        sources = "; ".join(tables.source_words(key) for key in function.sources)
        lines.append(f"| `{about['signature']}` | {function.result} | {sources} |")
    return "\n".join(lines)


def demo_output() -> str:
    done = subprocess.run([sys.executable, str(HOME / "scripts" / "demo.py")], capture_output=True, text=True, check=True)
    lines = [line.rstrip() for line in done.stdout.splitlines()]
    lines = [line for line in lines if not line.startswith(("Making", "Installing", "Open it", "Refreshed"))]
    return "```\n" + "\n".join(lines).strip() + "\n```"


def with_part(text: str, name: str, part: str) -> str:
    """The text with what stands between <!-- name --> and <!-- end name --> replaced."""
    head, rest = text.split(f"<!-- {name} -->\n", 1)
    tail = rest.split(f"<!-- end {name} -->", 1)[1]
    return f"{head}<!-- {name} -->\n{part}\n<!-- end {name} -->{tail}"


def main() -> None:
    path = HOME / "README.md"
    text = with_part(path.read_text(encoding="utf-8"), "functions", functions_table())
    path.write_text(with_part(text, "demo output", demo_output()), encoding="utf-8")


if __name__ == "__main__":
    main()
