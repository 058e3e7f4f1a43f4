#!/usr/bin/env python3
"""Who may include whom, read from the #include lines under src/.

The picture is the one in DEVELOPERS.md. A folder that is not in it, an arrow that is not in it, or a third-party header
outside its one place is an error.
"""
import argparse
import pathlib
import re
import sys

# folder -> folders whose internal headers it may include (its own always; public headers, written <sendworthy/x.h>, always)
ARROWS = {
    "include": set(),
    "base": set(),
    "dsp": {"base"},
    "audio": {"dsp", "base"},
    "measure": {"audio", "dsp", "base"},
    "judge": {"base"},
    "safety": {"base"},
    "sheet": {"base"},
    "check": {"measure", "judge", "safety", "audio", "dsp", "base"},
    "pair": {"check", "audio", "dsp", "base"},
    "delivery": {"pair", "check", "measure", "judge", "sheet", "audio", "dsp", "base"},
    "song": {"pair", "check", "measure", "judge", "sheet", "audio", "dsp", "base"},
    "desk": {"song", "delivery", "pair", "check", "safety", "sheet", "audio", "dsp", "base"},
    "cli": {"desk", "song", "delivery", "pair", "check", "sheet", "base"},
}

# third-party header (pattern over the text between the brackets) -> where it may stand (pattern over the path below src/)
THIRD_PARTY = [
    (r"sndfile\.hh?", r"audio/"),
    (r"taglib/.*|(fileref|tag|tstring|tbytevector\w*|tpropertymap|tfilestream|tiostream|audioproperties|\w+file|id3v2\w*|"
     r"\w*frame|xiphcomment|infotag|\w+tag)\.h", r"audio/"),
    (r"toml\+\+/.*|toml\.hpp", r"base/document\.cpp$"),
    (r"nlohmann/.*", r"sheet/|song/passes\.cpp$|desk/"),
    (r"httplib\.h", r"desk/server\.cpp$"),
    (r"pugi(xml|config)\.hpp", r"sheet/"),
    (r"ebur128\.h", r"measure/second_meter\.cpp$"),
    (r"openssl/.*", r"audio/"),
    (r"CLI/.*", r"cli/"),
    (r"xxhash\.h", r"(base|audio|measure|judge)/"),
    (r"mpg123\.h", r"audio/mpeg_source\.cpp$"),
    (r"hwy/.*", r"dsp/"),
    (r"soxr\.h", r"pair/reader\.cpp$"),
    (r"utf8proc\.h", r"base/unicode\.cpp$"),
    (r"tl/expected\.hpp", r"include/sendworthy/result\.h$|(?!include/)"),
    (r"fmt/.*", r"(?!include/)"),
    # System calls: base/ and one file of the program, so that the rest moves to another system as it is.
    (r"(unistd|fcntl|dirent|poll|pthread|termios|dlfcn|spawn|pwd|elf|link)\.h|sys/.*", r"base/|cli/process\.cpp$"),
    (r"signal\.h", r"(base|cli)/"),
]
INCLUDE = re.compile(r'^\s*#\s*include\s*(?:<([^>]+)>|"([^"]+)"|(\w+))')


def check(source):
    src = source / "src"
    errors, seen = [], 0
    graph = {}
    for path in sorted(p for p in src.rglob("*") if p.suffix in {".h", ".cpp", ".inl"}):
        below = path.relative_to(src).as_posix()
        layer = below.split("/")[0]
        if layer not in ARROWS:
            errors.append(f"src/{below}: folder {layer} is not in the picture")
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            match = INCLUDE.match(line)
            if not match:
                continue
            seen += 1
            place = f"src/{below}:{number}"
            angle, quoted, macro = match.groups()
            if macro:
                if not macro.startswith("HWY_"):
                    errors.append(f"{place}: include through the macro {macro}")
                continue
            name = angle or quoted
            if name.startswith("sendworthy/"):
                if not (src / "include" / name).is_file():
                    errors.append(f"{place}: no public header {name}")
                graph.setdefault(below, set()).add("include/" + name)
                continue
            if quoted:
                target = name.split("/")[0] if "/" in name else layer
                resolved = name if "/" in name else f"{layer}/{name}"
                if not (src / resolved).is_file():
                    errors.append(f"{place}: \"{name}\" is no file below src/; write the path from src/")
                    continue
                graph.setdefault(below, set()).add(resolved)
                if layer == "include":
                    errors.append(f"{place}: a public header includes the internal {name}")
                elif target != layer and target not in ARROWS[layer]:
                    errors.append(f"{place}: {layer} may not include {target} ({name})")
                continue
            for pattern, where in THIRD_PARTY:
                if re.fullmatch(pattern, name):
                    if not re.match(where, below):
                        errors.append(f"{place}: <{name}> stands outside its one place ({where})")
                    break
            else:
                if "/" in name or "." in name:
                    errors.append(f"{place}: <{name}> is not in the list of known headers")
    errors += circles(graph)
    if not seen:
        errors.append("no include line found: wrong folder?")
    return errors


def circles(graph):
    """Includes that lead back to where they started."""
    errors, done = [], set()

    def visit(node, trail):
        if node in trail:
            errors.append("circle: " + " -> ".join(trail[trail.index(node):] + [node]))
            return
        if node in done:
            return
        for target in sorted(graph.get(node, ())):
            visit(target, trail + [node])
        done.add(node)

    for node in sorted(graph):
        visit(node, [])
    return errors


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--source", type=pathlib.Path, required=True)
    errors = check(parser.parse_args().source)
    print("\n".join(errors) or "include arrows: fine")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
