#!/usr/bin/env python3
"""Show that every published value is really tested: alter it, and a test fails.

    alter-references.py [FILE...]      names below testdata/reference, default all

Each value of testdata/reference is altered by itself in a copy (by one in its
last place, else by 1 %, else by 5 %, as the tolerance of its row allows), and the
test that reads it is run. A value whose every alteration passes is tested by
nothing: it is named, and the exit status is 1. Of the ISO 286 tables, from which
hundreds of thousands of pairs follow, two cells of each row are drawn.
"""
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent.parent
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?(?![\w])")

# file: package, test, the columns that hold what was published (None: every number
# of a line of certified values; an int: so many cells of a row are drawn)
SUMS = ("sums", "TestPublishedSums", ["expected"])
TABLE = ("fits", "TestEveryPublishedLimit", 2)
FILES = {
    "circle_constructed16.csv": ("method", "TestStationsGiveThePublishedCircle", ["angle_deg", "radius_mm"]),
    "circle_expected.csv": ("method", "TestStationsGiveThePublishedCircle", ["expected"]),
    "conformance.csv": ("metrology", "TestConformanceExamples", ["p_in"]),
    "cosine.csv": ("method", "TestCosine", ["inputs", "expected_output"]),
    "e1049.csv": ("motion", "TestTurningPointsOfE1049", ["reversal", "range_to_next"]),
    "e1049_counts.csv": ("motion", "TestTurningPointsOfE1049", ["range", "half_cycles"]),
    "expansion.csv": SUMS,
    "guard.csv": ("metrology", "TestGuardFactors", ["guard_over_u"]),
    "gum_table_g2_student_t.csv": ("metrology", "TestStudentTable", ["nu", "p68.27", "p90", "p95", "p95.45", "p99", "p99.73"]),
    "iso286_grades.csv": TABLE,
    "iso286_holes.csv": TABLE,
    "iso286_shafts.csv": TABLE,
    "iso286_pairs.csv": ("fits", "TestPublishedFits", ["hole_ES_um", "hole_EI_um", "shaft_es_um", "shaft_ei_um", "hole_max_mm", "hole_min_mm",
                                                       "shaft_max_mm", "shaft_min_mm", "min_clearance_um", "max_clearance_um"]),
    "iso370.csv": SUMS,
    "lash.csv": SUMS,
    "press.csv": SUMS,
    "temperature.csv": ("method", "TestTheEndGaugeOfTheGuide|TestAWarmReadingIsReferredTo20", ["expected"]),
    "uncertainty.csv": ("metrology", "TestPublishedUncertainties", ["expected"]),
    "units.csv": ("quantity", "TestPublishedFactors", ["expected_output"]),
    "repeatability/expected.csv": ("metrology", "TestPublishedStudy", ["expected"]),
    "repeatability/study_10x3x3.csv": ("metrology", "TestPublishedStudy", ["trial", "part", "value"]),
}


def altered(text: str, how: str) -> str:
    mantissa, *power = re.split("[eE]", text)
    places = len(mantissa.partition(".")[2])
    v = float(mantissa)
    if how == "last place":
        v += 10**-places
    else:
        v = v * (1 + float(how[:-1]) / 100) or 1
        places += 2
    return f"{v:.{places}f}" + "".join("E" + p for p in power)


def fields(line: str) -> list[tuple[int, int]]:
    """Where each field of a CSV line stands, quotes included."""
    at, out, quoted = 0, [], False
    for i, c in enumerate(line + ","):
        quoted ^= c == '"'
        if c == "," and not quoted:
            out.append((at, i))
            at = i + 1
    return out


def places(name: str, lines: list[str], columns) -> list[tuple[int, int, int]]:
    """Line, start and end of every number to alter."""
    out, head = [], None
    if name.endswith(".dat"):
        data = max(i for i, l in enumerate(lines) if l.startswith("Data:"))
        for i in range(next(i for i, l in enumerate(lines) if "Certified" in l and "(lines" not in l), data):
            out += [(i, m.start(), m.end()) for m in NUMBER.finditer(lines[i]) if "." in m.group()]
        return out
    for i, line in enumerate(lines):
        if not line or line.startswith("#"):
            continue
        at = fields(line)
        if head is None:
            head = line.split(",")
            continue
        if isinstance(columns, int):
            cells = [a for a in at[2:-1] if a[0] < a[1]]
            chosen = random.sample(cells, columns)
        else:
            chosen = [a for a, h in zip(at, head) if h in columns]
        for a, b in chosen:
            out += [(i, a + m.start(), a + m.end()) for m in NUMBER.finditer(line[a:b])]
    return out


def main() -> int:
    random.seed(1)
    files = dict(FILES)
    for dat in sorted((HERE / "testdata/reference/strd").glob("*.dat")):
        files["strd/" + dat.name] = ("metrology", f"^TestStrd/^{dat.stem}$", None)
    wanted = sys.argv[1:] or list(files)
    missed = total = 0
    with tempfile.TemporaryDirectory() as tmp:
        copy = pathlib.Path(tmp)
        shutil.copytree(HERE / "testdata", copy / "testdata")
        for package in sorted({files[f][0] for f in wanted}):
            (copy / "internal" / package).mkdir(parents=True)
            subprocess.run(["go", "test", "-c", "-o", copy / package, f"./internal/{package}"], cwd=HERE, check=True)

        def passes(package: str, test: str) -> bool:
            run = subprocess.run([copy / package, "-test.count=1", "-test.run", test], cwd=copy / "internal" / package, capture_output=True)
            if b"no tests to run" in run.stdout:
                sys.exit(f"{package} has no test {test}")
            return run.returncode == 0

        for name in wanted:
            package, test, columns = files[name]
            path = copy / "testdata/reference" / name
            text = path.read_text()
            if not passes(package, test):
                sys.exit(f"{name}: {test} fails before anything is altered")
            lines, here = text.split("\n"), 0
            for i, a, b in places(name, lines, columns):
                total, here = total + 1, here + 1
                for how in ("last place", "1%", "5%") if not name.endswith(".dat") else ("1%",):
                    line = lines[i][:a] + altered(lines[i][a:b], how) + lines[i][b:]
                    path.write_text("\n".join(lines[:i] + [line] + lines[i + 1:]))
                    if not passes(package, test):
                        break
                else:
                    missed += 1
                    print(f"{name}, line {i + 1}: {lines[i][a:b]} is tested by nothing: {lines[i].strip()[:100]}")
            path.write_text(text)
            print(f"{name}: {here} values altered", flush=True)
    print(f"{total} values, {missed} tested by nothing")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
