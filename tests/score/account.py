#!/usr/bin/env python3
"""Holds the energy account that firnwatt keeps of a labelled feed against sums made here, by other means.

Usage: account.py FIRNWATT [--keep FOLDER] FOLDER...

Each FOLDER has feed.jsonl.gz, site.json (the rig) and truth.csv. Nothing of the product is used but its
program: a config is written from site.json, the feed is replayed, and the account is read back from
`review --format json` and `export energy`. Beside it this script adds up
  - what each string made a day, from the feed's own readings,
  - what each loss came to a day, from the truth.
It prints both and ends with 1 when the books do not balance: parts that do not add up to clear sky, review
and export that differ, energy made that is not what the feed says, or over 5 % of clear sky unexplained.
Losses off by more than 15 % and 0.1 kWh a day are marked '!' and counted in the last line.
"""
import csv
import gzip
import io
import json
import math
import os
import re
import subprocess
import sys
import tempfile
from collections import defaultdict
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

LOSSES = ["cloud", "snow", "soiling", "shade", "curtailed", "outage", "no_data"]


def source(t):
    s = {"topic": t["topic"]}
    if t["pointer"]:
        s["pointer"] = t["pointer"]
    if t["unit"] not in ("text", "int", "flag"):
        s["unit"] = {"percent": "%"}.get(t["unit"], t["unit"])
    if t.get("scale", 1) != 1:
        s["factor"] = t["scale"]
    if "discharge" in t.get("sign", ""):
        s["sign"] = -1
    if "values" in t:
        s["values"] = t["values"]
    if "true_value" in t:
        word = lambda v: json.dumps(v) if not isinstance(v, str) else v
        s["values"] = {word(t["true_value"]): "true", word(t["false_value"]): "false"}
    return s


def config_of(site):
    times = {}
    for t in site["telemetry"]:
        if t["quantity"] == "sender_time":
            form = "local" if t["unit"].startswith("local") else t["unit"]
            times[t["topic"]] = {"pointer": t["pointer"], "form": form}

    def timed(t):
        s = source(t)
        if t["topic"] in times:
            s["time"] = times[t["topic"]]
        return s

    strings = {}
    for s in site["strings"]:
        module = {"power": f"{s['module_stc_w']} W", "power_per_k": f"{s['temp_coeff_pct_per_k']} %/K"}
        if "module_voc_v" in s:
            module["v_oc"] = f"{s['module_voc_v']} V"
            module["v_mp"] = f"{s['module_vmp_v']} V"
            module["v_oc_per_k"] = f"{s.get('module_beta_pct_per_k', -0.28)} %/K"
        strings[s["id"]] = {
            "module": module, "wiring": s["wiring"], "tilt": f"{s['tilt_deg']} deg", "azimuth": f"{s['azimuth_deg']} deg",
            "controller": {"max_power": f"{s['controller_max_w']} W", "max_current": f"{s['controller_max_a']} A"}}
    bank = {"capacity": f"{site['bank']['capacity_ah']} Ah", "nominal_voltage": f"{site['bank']['nominal_v']} V",
            "charge_window": {"lower_limit": f"{site['bank']['lower_charge_limit_c']} degC",
                              "preferred_floor": f"{site['bank']['preferred_floor_c']} degC",
                              "upper_limit": f"{site['bank']['upper_charge_limit_c']} degC"}}
    place = {"latitude": site["lat"], "longitude": site["lon"], "altitude": f"{site['altitude_m']} m", "timezone": site["timezone"]}
    loads = {}
    of_string = {"pv_power": "power", "pv_voltage": "voltage", "pv_current": "current", "day_energy": "day_energy"}
    of_controller = {"out_current": "output_current", "out_voltage": "output_voltage", "stage": "stage"}
    of_bank = {"bank_voltage": "voltage", "bank_current": "current", "bank_soc": "soc", "charge_permitted": "charge_allowed"}
    of_site = {"ambient_temp": "air_temperature", "cabin_temp": "cabin_temperature", "irradiance": "irradiance"}
    for t in site["telemetry"]:
        q, s = t["quantity"], timed(t)
        if q in of_string:
            strings[t["string"]][of_string[q]] = s
        elif q in of_controller:
            strings[t["string"]]["controller"][of_controller[q]] = s
        elif q in of_bank:
            bank[of_bank[q]] = s
        elif q in of_site:
            place[of_site[q]] = s
        elif q == "cell_temp":
            bank["cell_temperature"] = dict(s, max_age="15 min", unit_confirmed=True)
        elif q == "load_power":
            loads["power"] = s
    config = {"rig": "practice", "site": place, "strings": strings, "bank": bank}
    if loads:
        config["loads"] = loads
    if "outlook" in site:
        o = site["outlook"]
        unit = lambda key: {"percent": "%", "inch": "in"}.get(o[key], o[key])
        f = {"topic": o["topic"], "layout": o["layout"], "time_form": "iso",
             "cloud": {"pointer": "/cloud", "unit": unit("cloud_unit")},
             "air_temperature": {"pointer": "/temp", "unit": unit("temp_unit")},
             "snowfall": {"pointer": "/snow", "unit": unit("snow_unit")}}
        if o["layout"] == "columns":
            f.update(first="/first", step_pointer="/step_s")
        else:
            f.update(rows="/hours", time="/t")
        config["forecast"] = f
    return config


def pointed(value, pointer):
    for token in pointer.split("/")[1:]:
        token = token.replace("~1", "/").replace("~0", "~")
        try:
            value = value[int(token)] if isinstance(value, list) else value[token]
        except (KeyError, IndexError, TypeError, ValueError):
            return None
    return value


def number(value, t):
    if isinstance(value, bool) or value is None:
        return None
    try:
        x = float(value) * t.get("scale", 1)
    except (TypeError, ValueError):
        return None
    return x if math.isfinite(x) else None


def instant(text):
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def feed_energy(folder, site, frozen):
    """kWh by (local date, string), each reading held until the next, at most as long as its usual silence allows.

    And apart from it what readings gave in five minutes in which the sender stood still, by the truth: nobody can
    know that at once, so the product may have taken some of it for energy made."""
    zone = ZoneInfo(site["timezone"])
    most = {s["id"]: 1.3 * s["controller_max_w"] for s in site["strings"]}
    wanted, hold = defaultdict(list), {}
    bank_side = set()
    has_array = {t["string"] for t in site["telemetry"] if t["quantity"] == "pv_power" or t["quantity"] == "pv_current"}
    for t in site["telemetry"]:
        if t["quantity"] in ("pv_power", "pv_voltage", "pv_current") or (
                t["quantity"] in ("out_current", "out_voltage") and t["string"] not in has_array):
            wanted[t["topic"]].append(t)
            usual = int(re.search(r"(\d+) s", t["sent"]).group(1))
            hold[t["string"]] = usual * 1.1 if "on change" in t["sent"] else max(180, 3 * usual)
            if t["quantity"].startswith("out"):
                bank_side.add(t["string"])
    total, doubtful = defaultdict(float), defaultdict(float)
    state = {}    # string: (time, watts)

    def book(string, until):
        if string not in state:
            return
        begin, watts = state[string]
        end = min(until, begin + timedelta(seconds=hold[string]))
        # a local day's end splits the piece
        while begin < end:
            local = begin.astimezone(zone)
            midnight = datetime(local.year, local.month, local.day, tzinfo=zone) + timedelta(days=1)
            stop = min(end, midnight.astimezone(timezone.utc))
            into = doubtful if (begin.replace(minute=begin.minute // 5 * 5, second=0, microsecond=0), string) in frozen else total
            into[local.date().isoformat(), string] += watts * (stop - begin).total_seconds() / 3.6e6
            begin = stop

    now = None
    with gzip.open(os.path.join(folder, "feed.jsonl.gz"), "rt", encoding="utf-8") as feed:
        for line in feed:
            topic = re.search(r'"topic":\s*"([^"]*)"', line)
            if not topic or topic.group(1) not in wanted:
                continue
            try:
                m = json.loads(line)
            except ValueError:
                continue
            if m.get("retain"):
                continue
            now = instant(m["t"])
            values = defaultdict(dict)
            for t in wanted[m["topic"]]:
                x = number(pointed(m["payload"], t["pointer"]), t)
                if x is not None:
                    values[t["string"]][t["quantity"]] = x
            for string, v in values.items():
                watts = v.get("pv_power")
                if watts is None and "pv_current" in v and "pv_voltage" in v:
                    watts = v["pv_current"] * v["pv_voltage"]
                if watts is None and string in bank_side and "out_current" in v and "out_voltage" in v:
                    watts = v["out_current"] * v["out_voltage"]
                if watts is None or not -5 <= watts <= most[string]:
                    continue
                book(string, now)
                state[string] = (now, max(watts, 0.0))
    if now is not None:
        for string in list(state):
            book(string, now)
    return total, doubtful, bank_side


def truth_energy(folder, site):
    """kWh by local date: clear sky, made and each loss, from the sky down: cloud, shade, what lies on the glass, the rest.
    And the five minutes, by string, in which nothing true was sent."""
    zone = ZoneInfo(site["timezone"])
    days, frozen = defaultdict(lambda: defaultdict(float)), set()
    with open(os.path.join(folder, "truth.csv"), newline="", encoding="utf-8") as f:
        for r in csv.DictReader(f):
            day = days[instant(r["utc"]).astimezone(zone).date().isoformat()]
            kwh = 1 / 12 / 1000
            clear, available, actual = (float(r[k]) * kwh for k in ("true_clear_power_w", "true_available_w", "actual_w"))
            day["clear_sky"] += clear
            day["cloud"] += clear - available
            if r["telemetry_live"] != "1":
                day["no_data"] += available
                frozen.add((instant(r["utc"]), r["string"]))
                continue
            day["made"] += actual
            left = available
            for loss, share in (("shade", 1 - float(r["shade_factor"])), ("snow", float(r["snow_loss_fraction"])),
                                ("snow", float(r["frost_loss_fraction"])), ("soiling", float(r["soiling_loss_fraction"]))):
                day[loss] += left * share
                left -= left * share
            rest = "outage" if r["cause"] == "outage" else "curtailed" if r["curtailed"] == "1" else "unexplained"
            day[rest] += left - actual
    return days, frozen


def run(*command):
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{' '.join(command[:3])}: exit {done.returncode}\n{done.stderr[-2000:]}")
    return done.stdout


def off(ours, true, kwh):
    return abs(ours - true) > max(kwh, 0.15 * abs(true))


def check(firnwatt, folder, work):
    name = os.path.basename(folder.rstrip("/"))
    with open(os.path.join(folder, "site.json"), encoding="utf-8") as f:
        site = json.load(f)
    config, journal = os.path.join(work, name + ".yaml"), os.path.join(work, name + ".journal")
    with open(config, "w", encoding="utf-8") as f:
        json.dump(config_of(site), f, indent=1)     # JSON is YAML
    for end in ("", "-wal", "-shm"):
        if os.path.exists(journal + end):
            os.remove(journal + end)
    run(firnwatt, "replay", config, os.path.join(folder, "feed.jsonl.gz"), "--journal", journal, "--quiet")
    review = json.loads(run(firnwatt, "review", journal, "--format", "json"))
    export = list(csv.DictReader(io.StringIO(run(firnwatt, "export", journal, "energy"), newline="")))
    wrong = []

    # the export's parts add up, and the review says the same
    of_day, of_string = defaultdict(lambda: defaultdict(float)), {}
    for row in export:
        parts = {k[:-4].replace("lost_", ""): float(v) for k, v in row.items() if k.endswith("_kwh")}
        clear = parts.pop("clear_sky")
        if abs(sum(parts.values()) - clear) > 1e-6:
            wrong.append(f"{row['local_date']} {row['string']}: parts add up to {sum(parts.values()):.4f}, clear sky is {clear:.4f}")
        of_string[row["local_date"], row["string"]] = parts["made"]
        day = of_day[row["local_date"]]
        day["clear_sky"] += clear
        for k, v in parts.items():
            day["curtailed" if k == "cold" else k] += v
    for day in review["days"]:
        total = day["total"]
        for k in ("made", "clear_sky", "unexplained"):
            if abs(total[k + "_kwh"] - of_day[day['local_date']][k]) > 0.0015 * (1 + len(site["strings"])):
                wrong.append(f"{day['local_date']}: review says {k} {total[k + '_kwh']}, export {of_day[day['local_date']][k]:.4f}")

    # what was made, against the feed's own readings
    truth, frozen = truth_energy(folder, site)
    fed, doubtful, bank_side = feed_energy(folder, site, frozen)
    for (date, string), kwh in sorted(of_string.items()):
        mine = fed.get((date, string), 0.0)
        # from the bank side the array's power follows with an efficiency of some per cent less than one
        low, high = (0.98, 1.10) if string in bank_side else (0.97, 1.03)
        if not mine * low - 0.02 <= kwh <= mine * high + 0.02 + doubtful.get((date, string), 0.0):
            wrong.append(f"{date} {string}: made {kwh:.3f} kWh, the feed's readings give {mine:.3f}")

    # each loss, against the truth
    dates = sorted(d for d in truth if truth[d]["clear_sky"] > 0.01)
    print(f"{name}: kWh, ours/truth, ! off by over 15 % and 0.1 kWh a day")
    print("  " + " " * 10 + "".join(f"{k:>15}" for k in ["clear_sky", "made"] + LOSSES) + "    unexplained")
    count = days_off = 0
    feed_off = []
    total_ours, total_true = defaultdict(float), defaultdict(float)
    for date in dates + ["all"]:
        ours, true = (of_day[date], truth[date]) if date != "all" else (total_ours, total_true)
        slack = 0.1 if date != "all" else 0.1 * len(dates)
        cells = []
        for k in ["clear_sky", "made"] + LOSSES:
            bad = off(ours[k], true[k], slack)
            cells.append(f"{ours[k]:7.2f}/{true[k]:6.2f}{'!' if bad else ' '}")
            if k in LOSSES:
                if date == "all":
                    if bad:
                        feed_off.append(k)
                else:
                    count += 1
                    days_off += bad
            if date != "all":
                total_ours[k] += ours[k]
                total_true[k] += true[k]
        print(f"  {date:10}" + "".join(cells) + f" {ours['unexplained']:7.2f}")
        if date != "all":
            total_ours["unexplained"] += ours["unexplained"]
    share = abs(total_ours["unexplained"]) / max(total_ours["clear_sky"], 1e-9)
    print(f"  unexplained {100 * share:.1f} % of clear sky; days and losses off: {days_off} of {count}; over the feed off: {', '.join(feed_off) or 'none'}")
    if share > 0.05:
        wrong.append(f"{100 * share:.1f} % of clear sky is unexplained")
    for w in wrong:
        print("  WRONG: " + w)
    return len(wrong), len(feed_off), days_off, count


def main():
    arguments = sys.argv[1:]
    keep = None
    if "--keep" in arguments:
        i = arguments.index("--keep")
        keep = arguments[i + 1]
        del arguments[i:i + 2]
    if len(arguments) < 2:
        sys.exit(__doc__.split("\n\n")[1])
    with tempfile.TemporaryDirectory() as scratch:
        results = [check(arguments[0], folder, keep or scratch) for folder in arguments[1:]]
    wrong, feeds_off, days_off, count = (sum(r[i] for r in results) for i in range(4))
    print(f"books wrong: {wrong}; losses off over a feed: {feeds_off} of {len(LOSSES) * len(results)}; by day: {days_off} of {count}")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
