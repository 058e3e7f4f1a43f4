"""Fenced blocks of a Markdown page, with the marks that stand in HTML comments just before them.

Marks, each in a comment of its own line:
    <!-- exit: 1 -->            the block below ends with this code (0 without the mark)
    <!-- file: rules/x.toml --> the block below is the content of this file in the scratch folder
    <!-- not run: reason -->    the block below is shown and not run
    <!-- needs: make -->        the block below is run where this program is on the PATH
    <!-- sheet: begin -->       the ```text block below is what the ```sh block before it prints
    <!-- sheet: end -->
"""
import re
from dataclasses import dataclass, field

MARK = re.compile(r"^\s*<!--\s*(exit|file|not run|needs|sheet):\s*(.*?)\s*-->\s*$")
FENCE = re.compile(r"^(`{3,})(\w*)\s*$")


@dataclass
class Block:
    language: str
    line: int          # of the opening fence, from 1
    text: str
    marks: dict = field(default_factory=dict)
    first: int = 0     # index of the first line of the content
    last: int = 0      # index one past the content


def blocks(page):
    """All blocks of the text `page`, in order. Raises ValueError on a fence that never closes or a mark without a block."""
    lines, found, marks = page.splitlines(), [], {}
    i = 0
    while i < len(lines):
        mark = MARK.match(lines[i])
        fence = FENCE.match(lines[i])
        if mark:
            if not (mark.group(1) == "sheet" and mark.group(2) == "end"):
                marks[mark.group(1)] = mark.group(2)
        elif fence:
            end = next((j for j in range(i + 1, len(lines)) if lines[j].rstrip() == fence.group(1)), None)
            if end is None:
                raise ValueError(f"line {i + 1}: the block never ends")
            found.append(Block(fence.group(2), i + 1, "".join(line + "\n" for line in lines[i + 1:end]), marks, i + 1, end))
            marks, i = {}, end
        elif lines[i].strip() and marks:
            raise ValueError(f"line {i + 1}: a mark {marks} and no block below it")
        i += 1
    if marks:
        raise ValueError(f"a mark {marks} and no block below it")
    return found
