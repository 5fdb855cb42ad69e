"""Eight benches at one page: how long each page takes to come, and whether an answer is ever another job's.

    python tests/benchmarks/page.py [--benches 8] [--jobs 3] [--think 10]

The page is served as `faultnet serve` does it, in a process of its own; each bench is a process that works jobs from
intake to their end, and waits some `--think` seconds for each answer, which at a real bench is minutes. Printed are
milliseconds from the request to the whole page, as a bench sees them, so what the network and the bench itself take is
in it; and of the server alone, by its own clock. Then every page is asked for once more by a single bench, with nobody
else at work: each must say what it said before, and the answers must be those worked out without the page.
"""

import argparse
import html
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import httpx
import numpy as np

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

GOAL_MS, GOAL_SHARE = 100.0, 0.95

STEPS = 7
"""Answers in a job, at most; it ends before where a repair, or the end, is advised."""


@dataclass(frozen=True)
class Load:
    """One page that was loaded. kind: which screen; words: what stood on it."""

    kind: str
    ms: float
    server_ms: float
    path: str
    words: str


def words_of(page: str) -> str:
    """What stands on a page, but for what tells of the last entry."""
    body = re.sub(r'<section class="(written|elsewhere)".*?</section>', "", page, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", body.partition("</head>")[2]).split())


def work(address: str, n_jobs: int, think: float, seed: int) -> list[Load]:
    """One bench: some jobs, one after the other, in each the steps that are advised."""
    draw, loads = random.Random(seed), list[Load]()
    with httpx.Client(base_url=address, headers={"Origin": address}, timeout=60, follow_redirects=True) as client:

        def load(kind: str, path: str, form: Mapping[str, str] | None = None) -> httpx.Response:
            start = time.perf_counter()
            answer = client.get(path) if form is None else client.post(path, data=dict(form))
            ms = 1000 * (time.perf_counter() - start)
            assert answer.status_code == 200, (path, form, answer.status_code, words_of(answer.text)[:300])
            told = sum(float(each.headers["server-timing"].partition("=")[2]) for each in [*answer.history, answer])
            loads.append(Load(kind, ms, told, answer.url.path, words_of(answer.text)))
            return answer

        time.sleep(think * draw.random())  # benches do not begin at one moment
        for _ in range(n_jobs):
            load("jobs", "/")
            volts = draw.randrange(30, 120)
            facts = {
                "size": draw.choice(["32", "43", "50", "65"]),
                "nominal": str(volts),
                "age": str(draw.randrange(1, 12)),
            }
            shown = load("intake", "/new", {"model": "backlight", **facts})
            job = shown.url.path
            for _ in range(STEPS):
                for kind in draw.sample(["why", "ways", "entries", "network", "price", "sheet"], 2):
                    time.sleep(think * draw.uniform(0.1, 0.2))
                    load(kind, f"{job}/{kind}")
                time.sleep(think * draw.uniform(0.4, 1.2))
                read = re.search(r'href="(/jobs/[^"]+read=yes)"', shown.text)
                if read is not None and "/test/" in read[1]:
                    shown = load("test", html.unescape(read[1]))
                if (point := re.search(r'href="(/jobs/[^"]+/volts/[^"]+)"', shown.text)) is not None:
                    path = html.unescape(point[1]).partition("?")[0]
                    typed = draw.choice(["0", "0,2", f"{volts * draw.uniform(0.9, 1.3):.1f}".replace(".", ",")])
                    shown = load("volts", path, {"volts": typed, "press": "done", "read": "yes"})
                elif answers := re.findall(r'name="event" value="([^"]+)"', shown.text):
                    shown = load("job", f"{job}/seen", {"event": draw.choice(answers), "read": "yes"})
                else:
                    break
            load("close", f"{job}/close", {"outcome": "not_worth_repairing", "minutes": "30"})
    return loads


def main() -> None:
    """Serve, work, measure, compare."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=8)
    parser.add_argument("--jobs", type=int, default=3)
    parser.add_argument("--think", type=float, default=10.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "FAULTNET_DATA": folder,
            "FAULTNET_CACHE": f"{folder}/cache",
            "FAULTNET_SHOP": f"{folder}/shop.toml",
        }
        (Path(folder) / "shop.toml").write_text('[shop]\ntrained = true\ncurrency = "EUR"\n', encoding="utf-8")
        serving = subprocess.Popen([sys.executable, "-c", SERVE],
                                   stdout=subprocess.PIPE, text=True)  # fmt: skip
        try:
            assert serving.stdout is not None
            address = serving.stdout.readline().strip()
            work(address, 4, 0.0, 10_000)  # what a process does once, such as reading the model, is not a page's time
            start = time.perf_counter()
            with ProcessPoolExecutor(asked.benches) as benches:
                each = benches.map(
                    work, *zip(*[(address, asked.jobs, asked.think, n) for n in range(asked.benches)], strict=True)
                )
                loads = [load for bench in each for load in bench]
            seconds = time.perf_counter() - start
            tell(loads, seconds, asked.benches, asked.think)
            compare(address, loads)
        finally:
            serving.terminate()
            serving.wait(20)


SERVE = """
import sys, threading, time, uvicorn
from faultnet.web.serve import SWITCH_SECONDS
from datetime import UTC, datetime
from faultnet.web.app import make_app
from faultnet.web.house import House
from faultnet.workshop.workshop import open_workshop

class Timed:
    def __init__(self, app): self.app = app
    async def __call__(self, scope, receive, send):
        start = time.perf_counter()
        async def told(message):
            if message["type"] == "http.response.start":
                took = 1000 * (time.perf_counter() - start)
                message["headers"] = [*message["headers"], (b"server-timing", f"all;dur={took:.2f}".encode())]
            await send(message)
        await self.app(scope, receive, told)

sys.setswitchinterval(SWITCH_SECONDS)
app = make_app(House(open_workshop(lambda: datetime.now(UTC)), secret="measured"))
server = uvicorn.Server(uvicorn.Config(Timed(app), host="127.0.0.1", port=0, log_level="warning"))
thread = threading.Thread(target=server.run); thread.start()
while not server.started: time.sleep(0.01)
print(f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}", flush=True)
thread.join()
"""
"""The page with the time of each answer in a header, as a process of its own."""


def tell(loads: list[Load], seconds: float, benches: int, think: float) -> None:
    """Print what each screen took."""
    at_work = f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} CPUs"
    print(f"{len(loads)} pages by {benches} benches in {seconds:.0f} s, {think:g} s before each answer; {at_work}")
    print(f"{'ms':8} {'':>6} {'at the bench':>26}   of the server")
    print(f"{'':8} {'pages':>6} {'median':>8} {'95 %':>8} {'most':>8}   {'median':>8} {'95 %':>8}  within {GOAL_MS:g}")
    for kind in [*sorted({load.kind for load in loads}), ""]:
        own = [load for load in loads if kind in ("", load.kind)]
        bench, server = (np.array([getattr(load, name) for load in own]) for name in ("ms", "server_ms"))
        seen = f"{np.median(bench):8.1f} {np.quantile(bench, 0.95):8.1f} {bench.max():8.1f}"
        served = f"{np.median(server):8.1f} {np.quantile(server, 0.95):8.1f}  {100 * np.mean(server <= GOAL_MS):5.1f} %"
        print(f"{kind or 'all':8} {len(own):6} {seen}   {served}")
    share = float(np.mean([load.server_ms <= GOAL_MS for load in loads]))
    verdict = "met" if share >= GOAL_SHARE else "missed"
    print(f"{100 * share:.1f} % within {GOAL_MS:g} ms of server time: {verdict} (aim {100 * GOAL_SHARE:.0f} %)")


def compare(address: str, loads: list[Load]) -> None:
    """Ask for the last state of every page again, alone; and for every answer without the page."""
    from datetime import UTC, datetime

    from faultnet.telling.answer_json import answer_json
    from faultnet.workshop.looking import look_at
    from faultnet.workshop.workshop import on_the_bench, open_workshop

    last = {load.path: load for load in loads if load.kind in ("intake", "job", "volts", "close")}
    jobs = sorted({path.split("/")[2] for path in last if path.startswith("/jobs/")})
    workshop = open_workshop(lambda: datetime.now(UTC))
    with httpx.Client(base_url=address, timeout=60) as client:
        closed = {f"/jobs/{job}" for job in jobs}
        pages = [load for path, load in last.items() if path in closed]
        differ = [load.path for load in pages if words_of(client.get(load.path).text) != load.words]
        wrong = []
        for job in jobs:
            bench = on_the_bench(workshop, job)
            found = look_at(workshop, bench)
            alone = answer_json(bench.model, bench.case, found.diagnosis, found.ranking, found.fits_better)
            answer = client.get(f"/api/jobs/{job}/answer").json()
            if {name: answer[name] for name in alone} != json.loads(json.dumps(alone)):
                wrong.append(job)
    print(f"{len(pages)} pages asked for again: {len(differ)} differ")
    print(f"{len(jobs)} answers worked out without the page: {len(wrong)} differ")
    if differ or wrong:
        sys.exit(f"mixed up: {differ} {wrong}")


if __name__ == "__main__":
    main()
