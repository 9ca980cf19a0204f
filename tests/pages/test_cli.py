"""The command line, as its user meets it: what it prints, where, and with which exit code."""

import os
import re
import signal
import subprocess
import sys
import unicodedata

import pandas as pd
import pytest
from helpers import sample_copy

from cropload import compare_plans, example_records
from cropload.pages import cli
from cropload.pages.cli import OUR_FAULT, STOPPED, SUCCESS, USER_FAULT, main, tell
from cropload.records.example import shipped
from cropload.show import command as commands
from cropload.show.terminal import text_width
from cropload.units import ACRE_HA, SHORT_TON_T

PLANS = "3x6+3x2,3x8+3x2"
COMPARE = ["compare", "--example", "--block", "Long Acre", "--plans", PLANS, "--draws", "500"]


@pytest.fixture
def run(capsys):
    """Run a command line and return exit code, standard output and standard error."""

    def ran(*arguments):
        code = main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return code, out, err

    return ran


@pytest.fixture
def estate(tmp_path):
    """A folder of one's own with a copy of the sample estate's small tables."""
    return sample_copy(tmp_path / "estate", "blocks", "pruning", "harvest")


def rename_block(folder, name):
    for file in folder.glob("*.csv"):
        frame = pd.read_csv(file, dtype=str, keep_default_na=False)
        frame["block"] = frame["block"].replace("Long Acre", name)
        frame.to_csv(file, index=False)


def shell(*arguments, **more):
    """Run the command line as a program of its own."""
    return subprocess.run(
        [sys.executable, "-m", "cropload", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        **more,
    )


# Help


def test_the_help_lists_every_command_under_a_heading(run):
    code, out, err = run("--help")
    assert (code, err) == (SUCCESS, "")
    for name, command in cli.all_commands().items():
        assert re.search(rf"^  {name} ", out, re.MULTILINE)
        assert f"{command.group}:" in out


def test_without_a_command_the_help_is_shown(run):
    assert run() == run("--help") == run("help")


@pytest.mark.parametrize("name", cli.all_commands())
def test_every_command_explains_itself_with_an_example_within_80_columns(run, name):
    code, out, err = run(name, "--help")
    assert (code, err) == (SUCCESS, "")
    assert f"cropload {name}" in out.split("Example:")[1]
    assert max(map(len, out.splitlines())) <= 80


def test_the_version_is_the_package_s(run):
    import cropload

    assert run("--version") == (SUCCESS, f"cropload {cropload.__version__}\n", "")


# compare


def test_compare_prints_what_compare_plans_computes(run):
    code, out, _ = run(*COMPARE)
    found = compare_plans(example_records(), "Long Acre", PLANS, draws=500)
    assert code == SUCCESS
    assert "80 % range, equal tails" in out
    for row in found.frame.itertuples():
        line = next(line for line in out.splitlines() if line.startswith(row.plan))
        first, settled = re.findall(r"([\d.]+) \(([\d.]+)-([\d.]+)\)", line)[:2]
        assert [float(end) for end in first] == pytest.approx(
            [row.t_ha_p50, row.t_ha_p10, row.t_ha_p90], abs=0.06
        )
        assert [float(end) for end in settled] == pytest.approx(
            [row.t_ha_settled_p50, row.t_ha_settled_p10, row.t_ha_settled_p90], abs=0.06
        )


def test_compare_answers_alike_for_the_same_seed_and_otherwise_for_another(run):
    assert run(*COMPARE) == run(*COMPARE)
    assert run(*COMPARE) != run(*COMPARE, "--seed", "1")


def test_compare_exports_short_tons_and_acres_with_exact_factors(run, tmp_path):
    file = tmp_path / "plans.csv"
    code, out, err = run(*COMPARE, "--units", "us", "--csv", file)
    assert code == SUCCESS
    assert "ton/ac" in out
    assert str(file) in err
    shown = pd.read_csv(file)
    found = compare_plans(example_records(), "Long Acre", PLANS, draws=500)
    factor = ACRE_HA / SHORT_TON_T  # 1 t/ha in short tons of 2,000 lb an acre
    assert shown["ton_ac_p50"].tolist() == pytest.approx((found["t_ha_p50"] * factor).tolist())
    assert shown["shoots_per_ft_p90"].tolist() == pytest.approx(
        (found["shoots_per_m_p90"] * 0.3048).tolist()
    )
    assert shown["ravaz_p50"].tolist() == pytest.approx(found["ravaz_p50"].tolist())
    assert not [name for name in shown if re.search("_m_|t_ha|tonnes|kg", name)]


def test_an_export_is_not_overwritten_unless_asked(run, tmp_path):
    file = tmp_path / "plans.csv"
    file.write_text("mine")
    code, out, err = run(*COMPARE, "--csv", file)
    assert (code, out) == (USER_FAULT, "")
    assert "--replace" in err
    assert file.read_text() == "mine"
    assert run(*COMPARE, "--csv", file, "--replace")[0] == SUCCESS
    assert file.read_text() != "mine"


def test_a_band_in_feet_judges_as_the_same_band_in_metres(run):
    metric = run(*COMPARE, "--density-band", "9.8425,14.7638")[1]
    us = run(*COMPARE, "--density-band", "3,4.5", "--units", "us")[1]
    words = [re.findall(r" (below|inside|above) ", out) for out in (metric, us)]
    assert words[0] == words[1]
    assert "3 to 4.5 per ft" in " ".join(us.split())


def test_sources_name_every_component(run):
    out = run(*COMPARE, "--sources")[1]
    found = compare_plans(example_records(), "Long Acre", PLANS, draws=500)
    for part in found.components:
        assert f"{part['words']}: " in out


def test_five_plans_and_a_long_name_in_another_alphabet_fit_80_columns(run, estate):
    name = "Nordhang am alten Weiher 葡萄園 Южный склон"
    assert len(name) == 40
    rename_block(estate, name)
    plans = "3x6+3x2,3x8+3x2,24x2,12x14+12x2,2x10"
    for more in ([], ["--units", "us"], ["--sources"]):
        code, out, _ = run("compare", estate, "--block", name, "--plans", plans, *more)
        assert code == SUCCESS
        assert name in " ".join(out.split())
        assert max(map(text_width, out.splitlines())) <= 80
    out = run("check", estate)[1].split("WHAT A FORECAST")[1]
    assert max(map(text_width, out.splitlines())) <= 80


# plan


def test_plan_in_short_tons_an_acre_finds_what_it_finds_in_tonnes_a_hectare(run):
    ask = ["plan", "--example", "--block", "Long Acre", "--draws", "500", "--keep", "3"]
    metric = run(*ask, "--target-t-ha", "8.0")[1]
    us = run(*ask, "--target-ton-ac", f"{8.0 * ACRE_HA / SHORT_TON_T:.9f}", "--units", "us")[1]
    plans = re.findall(r"^\d+x[\dx+]+", metric, re.MULTILINE)
    # Two tables side by side: a row a plan in each.
    assert len(plans) == 6
    assert plans[:3] == plans[3:]
    assert plans == re.findall(r"^\d+x[\dx+]+", us, re.MULTILINE)


def test_plan_says_which_limit_binds_when_nothing_fits(run):
    limits = ["--canes", "4", "--buds-per-cane", "10-12", "--shoots-per-m", "3,5"]
    code, out, _ = run("plan", "--example", "--block", "Long Acre", "--target-t-ha", "8", *limits)
    assert code == SUCCESS
    assert "Nothing fits" in out
    assert "shoots per m" in out


# buds, damage, source


def test_buds_gives_the_published_example(run):
    """30+10 at 3 lb: 50 buds (West Virginia Department of Agriculture)."""
    code, out, _ = run("buds", "--pruning-weight", "3", "--unit", "lb", "--formula", "30+10")
    assert code == SUCCESS
    assert "leave 50 buds" in out


def test_buds_reads_a_decimal_comma(run):
    comma = run("buds", "--pruning-weight", "0,9", "--formula", "30+10")
    assert comma == run("buds", "--pruning-weight", "0.9", "--formula", "30+10")


def test_damage_gives_the_wilson_range_and_the_published_steps(run):
    """Wilson 95 % of 35 in 100: 26.4-44.7 %; Cornell's step adds 35 % to 40 wanted buds."""
    code, out, _ = run("damage", "--dead", "35", "--sampled", "100", "--wanted", "40")
    assert code == SUCCESS
    assert "26 to 45 %" in " ".join(out.split())
    assert re.search(r"live-bud arithmetic.* 62 ", out)
    assert re.search(r"Cornell.*add 35 %.* 54 ", out)


def test_source_prints_an_entry_a_group_and_a_publication(run):
    assert "Kliewer" in run("source", "band.ravaz.single")[1]
    assert "balanced.american" in run("source", "balanced")[1].splitlines()
    assert "band.ravaz.single           4 to 10 kg/kg" in run("source", "band.ravaz")[1]
    assert "American Journal" in run("source", "KliewerDokoozlian2005")[1]
    assert "band" in run("source")[1]
    # Words of a report lead to the entries that speak of them, those named so first.
    first = run("source", "Cluster weight")[1].splitlines()[0]
    assert first.split() == ["prior.cluster_weight_g", "130", "g"]
    # One alone is told whole.
    assert run("source", "picking recovery")[1].startswith("prior.recovery\n  value ")
    assert "loss.yearly" in run("source", "bears nothing")[1]


# check and new


def test_check_tells_what_is_held_and_what_each_block_falls_back_on(run):
    code, out, _ = run("check", "--example")
    assert code == SUCCESS
    _, told = out.split("STARTS FROM\n")
    # What holds of several blocks is said once.
    assert told.startswith("Home Terrace, Quarry Bank, Mill Meadow, Long Acre, Lyre Field\n  own 7")
    fox = told.split("Fox Hollow\n")[1].split("\n\n")[0]
    assert "own 1: pruning weight\n" in fox  # its one winter of pruning weights
    assert "handbook: counting bias" in fox  # nobody has learnt the counting bias yet
    assert "reference-plan" in out


def test_check_lists_every_fault_and_ends_with_2(run, estate):
    frame = pd.read_csv(estate / "blocks.csv", dtype=str, keep_default_na=False)
    frame.loc[0, "vines"], frame.loc[1, "row_spacing_m"] = "many", "-2"
    frame.to_csv(estate / "blocks.csv", index=False)
    code, out, err = run("check", estate)
    assert (code, out) == (USER_FAULT, "")
    assert "'many'" in err
    assert "'-2'" in err


@pytest.mark.parametrize("xlsx", [False, True])
def test_new_copies_the_sample_estate_and_the_notebooks(run, tmp_path, xlsx):
    folder = tmp_path / "season"
    code, out, _ = run("new", folder, "--example", *["--xlsx"] * xlsx)
    assert code == SUCCESS
    assert {path.name for path in folder.glob("*.ipynb")} == {
        path.name for path in shipped("notebooks").glob("*.ipynb")
    }
    records = re.search("cropload check (.*)", out)[1]
    ask = ["--block", "Long Acre", "--plans", PLANS, "--draws", "500"]
    assert run("compare", records, *ask)[1] == run("compare", "--example", *ask)[1]


def test_new_writes_empty_tables_in_us_units(run, tmp_path):
    assert run("new", tmp_path / "season", "--units", "us")[0] == SUCCESS
    header = (tmp_path / "season" / "blocks.csv").read_text("utf-8-sig")
    assert "row_spacing_ft" in header


def test_new_leaves_a_folder_that_holds_something_alone(run, estate):
    before = {path.name: path.read_bytes() for path in estate.iterdir()}
    code, _, err = run("new", estate, "--example")
    assert code == USER_FAULT
    assert "nothing is overwritten" in " ".join(err.split())
    assert before == {path.name: path.read_bytes() for path in estate.iterdir()}


# Faults


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["compair"], "'compare'"),
        (["frobnicate"], "The commands are"),
        (["compare", "--example", "--plans", "3x8"], "--block"),
        (["compare", "--example", "--blok", "A", "--block", "A", "--plans", "3x8"], "'--block'"),
        (["compare", "--block", "Long Acre", "--plans", "3x8"], "--example"),
        (["compare", "here", "--example", "--block", "A", "--plans", "3x8"], "not both"),
        ([*COMPARE, "--seed", "x"], "'x' is not a whole number"),
        ([*COMPARE, "--seed", "-1"], "seed must be"),
        ([*COMPARE, "--draws", "5"], "draws must be"),
        ([*COMPARE, "--season", "26"], "write the year of harvest"),
        ([*COMPARE, "--units", "imperial"], "'us'"),
        ([*COMPARE, "--density-band", "15,12"], "low end"),
        ([*COMPARE, "--ravaz-band", "band.ravaz.singel"], "band.ravaz.single"),
        ([*COMPARE, "--csv", "plans.doc"], ".csv or .xlsx"),
        (["compare", "--example", "--block", "Long Acer", "--plans", "3x8"], "'Long Acre'"),
        (["compare", "no/such/folder", "--block", "A", "--plans", "3x8"], "does not exist"),
        (["check"], "cropload new"),
        (["plan", "--example", "--block", "Long Acre"], "--target-t-ha"),
        (["plan", "--example", "--block", "Long Acre", "--target-t-ha", "-5"], "above 0"),
        (["plan", "--example", "--block", "Long Acre", "--target-t-ha", "nan"], "not a number"),
        (
            ["plan", "--example", "--block", "Long Acre", "--target-t-ha", "8", "--canes", "4-2"],
            "least first",
        ),
        (
            ["plan", "--example", "--block", "A", "--target-t-ha", "8", "--dead-buds-pct", "100"],
            "below 100 %",
        ),
        (["buds", "--formula", "30+10"], "--pruning-weight"),
        (["buds", "--formula", "thirty", "--pruning-weight", "1"], "30+10"),
        (["buds", "--formula", "30+10", "--pruning-weight", "-1"], "0 or more"),
        (["damage", "--dead", "5", "--sampled", "4", "--wanted", "40"], "--dead is 5"),
        (["damage", "--dead", "0", "--sampled", "0", "--wanted", "40"], "--sampled is 0"),
        (["damage", "--dead", "9", "--sampled", "9", "--wanted", "40"], "All 9 buds"),
        (["source", "band.ravaz.singel"], "'band.ravaz.single'"),
        (["new", "season.xlsx"], "looks like a file"),
        (["open", "no/such/folder"], "cropload new"),
        (["open", ".", "--port", "80"], "1024"),
    ],
)
def test_a_fault_gets_one_clear_message_and_ends_with_2(
    run, arguments, told, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(*arguments)
    assert (code, out) == (USER_FAULT, "")
    assert told in " ".join(err.split())
    assert len(err.strip().splitlines()) <= 7
    assert not list(tmp_path.glob("*.csv"))


@pytest.mark.parametrize("plan", ["3x", "0x0", "-1x8", "3x8+", "3x8+3x2+1x1", "8", "3x8+4x9"])
def test_a_plan_that_cannot_be_read_is_named_with_the_way_to_write_it(run, plan):
    code, out, err = run("compare", "--example", "--block", "Long Acre", "--plans", plan)
    assert (code, out) == (USER_FAULT, "")
    assert plan.strip() in err or "no bud" in err
    err = " ".join(err.split())
    assert "3x8+3x2" in err or "Leave at least" in err
    assert "N x M" not in err


@pytest.mark.parametrize("plan", ["2x0+2x2", "3x8+3x0"])
def test_pieces_of_no_buds_are_left_out_or_get_theirs(run, plan):
    code, _, err = run("compare", "--example", "--block", "Long Acre", "--plans", plan)
    assert code == USER_FAULT
    assert "have 0 buds. Write how many buds each" in " ".join(err.split())
    assert "Give it as" not in err


@pytest.mark.parametrize(("slip", "meant"), [("--blok", "--block"), ("--plan", "--plans")])
def test_a_slip_in_an_option_is_named_and_only_the_near_one_put_forward(run, slip, meant):
    given = {"--block": "Long Acre", "--plans": "3x8"}
    given = [
        part for name, value in given.items() for part in (slip * (name == meant) or name, value)
    ]
    code, _, err = run("compare", "--example", *given)
    assert code == USER_FAULT
    told = f"'{slip}' is not understood. Did you mean '{meant}'? See"
    assert told in " ".join(err.split())


def test_a_choice_of_options_is_shown_without_a_value_that_is_none(run):
    assert "(--block NAME | --all-blocks)" in run("compare", "--help")[1].splitlines()[0]


@pytest.mark.parametrize(
    "arguments",
    [("--block", "Lng Acre", "--plans", "3x8"), ("--block", "Long Acre", "--plans", "3x")],
)
def test_messages_fit_80_columns(run, arguments):
    err = run("compare", "--example", *arguments)[2]
    assert len(err.splitlines()) > 1
    assert max(map(len, err.splitlines())) <= 80


def test_a_path_that_is_longer_than_a_line_can_be_copied_from_a_message(capsys):
    path = "/" + "far/" * 30 + "plans.csv"
    tell(f"{path} is there already, and nothing was changed: give --replace, or another name.")
    err = capsys.readouterr().err
    assert path in err
    assert sorted(map(len, err.splitlines()))[-2] <= 80


def test_names_that_could_harm_are_shown_as_text(run, estate):
    name = "=1+1 <b>'Süd' 葡萄"
    rename_block(estate, name)
    code, out, err = run("compare", estate, "--block", name, "--plans", PLANS, "--draws", "500")
    assert code == SUCCESS, err
    assert name in out


def test_control_characters_do_not_reach_the_terminal(run, estate):
    (estate / "blocks.csv").write_text("block,variety\n\x1b[31mred\x07,x\n", encoding="utf-8")
    code, out, err = run("check", estate)
    assert code == USER_FAULT
    assert not [s for s in out + err if unicodedata.category(s) == "Cc" and s != "\n"]


def test_an_unexpected_fault_is_one_line_and_debug_shows_where(monkeypatch, capsys):
    def broken(given):
        raise ZeroDivisionError("half\na vine")

    broken_command = commands.Command("broken", "Start", "", (), broken, "")
    monkeypatch.setattr("cropload.pages.cli.all_commands", lambda: {"broken": broken_command})
    assert main(["broken"]) == OUR_FAULT
    err = capsys.readouterr().err
    assert "ZeroDivisionError: half a vine" in " ".join(err.split())
    assert "report" in err
    assert "Traceback" not in err
    assert main(["broken", "--debug"]) == OUR_FAULT
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("fault", "code"), [(KeyboardInterrupt, STOPPED), (PermissionError(13, "denied"), USER_FAULT)]
)
def test_a_stop_and_a_refusal_of_the_system_end_without_a_traceback(
    monkeypatch, capsys, fault, code
):
    def stopped(given):
        raise fault

    stopped_command = commands.Command("stopped", "Start", "", (), stopped, "")
    monkeypatch.setattr("cropload.pages.cli.all_commands", lambda: {"stopped": stopped_command})
    assert main(["stopped"]) == code
    assert "Traceback" not in capsys.readouterr().err


# The program itself


def test_a_reader_that_stops_reading_is_no_fault():
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-m", "cropload", "source"],
        stdout=writer,
        stderr=subprocess.PIPE,
        text=True,
    )
    os.close(writer)
    assert (done.returncode, done.stderr) == (SUCCESS, "")


def test_a_terminal_without_the_letters_gets_the_rest():
    done = shell("source", "prior.shoots_per_bud", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == SUCCESS, done.stderr


def test_messages_go_to_standard_error():
    done = shell("compair")
    assert (done.returncode, done.stdout) == (USER_FAULT, "")
    assert "compare" in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal")
def test_control_c_ends_with_130():
    script = (
        "import os, signal\n"
        # A run in the background starts with the signal ignored.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from cropload.pages import cli\n"
        "from cropload.show.command import Command\n"
        "def run(given): os.kill(os.getpid(), signal.SIGINT)\n"
        "command = Command('wait', 'Start', '', (), run, '')\n"
        "cli.all_commands = lambda: {'wait': command}\n"
        "raise SystemExit(cli.main(['wait']))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.returncode == STOPPED == 128 + signal.SIGINT
    assert "Traceback" not in done.stderr
