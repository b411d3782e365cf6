"""What a person waits for: the command in a new process, imports, the whole weigh-up, many cases, the report.

python -m benchmarks.commands        all rows, as Markdown
"""

from __future__ import annotations

import json
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from validation.published import case_data, published_cases

from benchmarks.posterior import case
from benchmarks.run import machine, peak_mib, run, said, write_section
from wetmount.casefile import read_case
from wetmount.evidence import gather_evidence
from wetmount.reference import load_reference
from wetmount.report.write import write_report
from wetmount.weighup import weigh_up
from wetmount.weighup.approximate import EXACT_BITS, solve
from wetmount.weighup.pose import pose

EXAMPLES = Path(__file__).parents[1] / "src" / "wetmount" / "examples"
DEMONSTRATION = EXAMPLES / "harbour_row_rack_a.toml"
MANY = 1000


@dataclass(frozen=True)
class Took:
    """Median seconds on the clock and of the processor. On a machine that others use the second is the fairer."""

    wall: float
    processor: float

    def __str__(self) -> str:
        return f"{self.wall:.2f} s ({self.processor:.2f} s of processor)"


def took(work: Callable[[], object], times: int = 5) -> Took:
    """In this process, after one run to warm up."""
    work()
    wall, processor = [], []
    for _ in range(times):
        begun = time.perf_counter(), time.process_time()
        work()
        wall.append(time.perf_counter() - begun[0])
        processor.append(time.process_time() - begun[1])
    return Took(statistics.median(wall), statistics.median(processor))


def cold(command: Sequence[str], times: int = 7) -> Took:
    """In a new process each time, from start to end."""
    wall, processor = [], []
    for _ in range(times):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        ran = run(command)
        if ran.failed:
            raise RuntimeError(f"{' '.join(command)}: {ran.failed}")
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        wall.append(ran.seconds)
        processor.append(after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)
    return Took(statistics.median(wall), statistics.median(processor))


def rows() -> list[str]:
    """Every row: what, figure, target."""
    reference = load_reference()
    evidence = gather_evidence(read_case(DEMONSTRATION, reference), reference)
    weigh = [sys.executable, "-m", "wetmount", "weigh", str(DEMONSTRATION)]
    bare = cold([sys.executable, "-c", "pass"])
    lines = ["| work | figure | target |", "| --- | --- | --- |"]

    def row(work: str, figure: str, target: str) -> None:
        lines.append(f"| {work} | {figure} | {target} |")
        print(lines[-1], file=sys.stderr, flush=True)

    imported = cold([sys.executable, "-c", "import wetmount"])
    row("`import wetmount`, beyond starting Python", f"{1000 * (imported.processor - bare.processor):.0f} ms", "150 ms")
    row("`wetmount weigh` of the demonstration case, new process", str(cold(weigh)), "1 s")
    row("its peak memory", f"{peak_mib(weigh):.0f} MiB", "300 MiB")
    row("the same with `--quick`", str(cold([*weigh, "--quick"])), "")
    first = took(lambda: weigh_up(evidence, reference, reasons=False, firmness=False, examinations=False))
    row("first ranking with explanations, warm", str(first), "0.3 s")
    reasoned = took(lambda: weigh_up(evidence, reference, firmness=False, examinations=False))
    row("with reasons, warm", str(reasoned), "")
    row(
        "whole weigh-up with firmness and next examination, warm",
        str(took(lambda: weigh_up(evidence, reference))),
        "1.5 s",
    )
    row(f"{MANY} case files in one process, conditions and explanations", many(), "20 a second")
    seconds, bits, peak = twenty()
    row(f"{bits:.1f} state bits, exact, samples included", f"{seconds:.1f} s", "10 s at 20 bits")
    row("its peak memory", f"{peak:.0f} MiB", "1 GiB")
    warm, new = _report()
    row("report to PDF of a weighed case, warm", str(warm), "1 s")
    row("`wetmount report` of a case file, new process, weigh-up included", str(new), "")
    return lines


def many() -> str:
    """Case files a second, read from disk, gathered and weighed: the published and the demonstration cases in turn."""
    reference = load_reference()
    texts = [(".toml", file.read_text(encoding="utf-8")) for file in sorted(EXAMPLES.glob("*.toml"))]
    texts += [(".json", json.dumps(case_data(case))) for case in published_cases()]
    with tempfile.TemporaryDirectory() as folder:
        files = []
        for number in range(MANY):
            ending, text = texts[number % len(texts)]
            files.append(Path(folder) / f"{number}{ending}")
            files[-1].write_text(text, encoding="utf-8")
        begun = time.perf_counter(), time.process_time()
        for file in files:
            gathered = gather_evidence(read_case(file, reference), reference)
            weigh_up(gathered, reference, firmness=False, examinations=False, reasons=False)
        wall, processor = time.perf_counter() - begun[0], time.process_time() - begun[1]
    return f"{MANY / wall:.0f} a second ({MANY / processor:.0f} a second of processor)"


def twenty() -> tuple[float, float, float]:
    """(processor seconds, state bits, peak MiB) of an exact weigh-up near the exact limit, in a process of its own."""
    answer = said(run([sys.executable, "-m", "benchmarks.commands", "twenty"], limit_s=300))
    return tuple(float(answer[key]) for key in ("seconds", "bits", "peak_mib"))  # type: ignore[return-value,arg-type]


def _twenty() -> None:
    reference = load_reference()
    for seed in range(1000):
        posed = pose(case(reference, 14, seed), reference)
        if 0.8 * 2**EXACT_BITS <= posed.problem.steps().peak <= 2**EXACT_BITS:
            break
    else:
        raise RuntimeError("no case near the exact limit")
    begun = time.process_time()
    solved = solve(posed, 4000, 1)
    seconds = time.process_time() - begun
    assert solved.approximation is None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "peak_mib": peak, "bits": solved.posterior.state_bits}))


def _report() -> tuple[Took, Took]:
    """(from a weighed case to a PDF file, warm; the command in a new process, weigh-up included)."""
    reference = load_reference()
    held = read_case(DEMONSTRATION, reference)
    weighed = weigh_up(gather_evidence(held, reference), reference)
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "case.pdf"
        warm = took(lambda: write_report(held, weighed, reference, target), times=3)
        command = [sys.executable, "-m", "wetmount", "report", str(DEMONSTRATION), "-o", str(target)]
        return warm, cold(command, times=3)


if __name__ == "__main__":
    if sys.argv[1:] == ["twenty"]:
        _twenty()
    else:
        head = machine()
        text = f"{head}.\n\n" + "\n".join(rows()) + "\n"
        print(text)
        if "--write" in sys.argv:
            write_section("commands", text)
