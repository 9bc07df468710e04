"""TypeScript types generated from the document by openapi-typescript compile, and catch a wrong field.

Runs where Node is on the path and the npm registry answers; both packages go to a folder of the test's own.
"""

import json
import re
import shutil
import subprocess

import pytest

from weirbook.web.docs import document

PACKAGES = ("openapi-typescript@7.13.0", "typescript@5.9.3")
"""The generator asks for a compiler of the fifth generation."""
OLDEST_NODE = 18
UNREACHED = re.compile(
    r"ENOTFOUND|EAI_AGAIN|ECONNREFUSED|ECONNRESET|ETIMEDOUT|ENETUNREACH|EHOSTUNREACH|ERR_SOCKET_TIMEOUT|E50[234]\b"
)

OPENING = """import type { paths } from "./weirbook";
type Json<T> = T extends { content: { "application/json": infer Body } } ? Body : never;
type Tank = Json<paths["/v1/tanks/{handle}"]["get"]["responses"]["200"]>;
type TankSent = Json<paths["/v1/tanks"]["post"]["requestBody"]>;
type ReadingSent = Json<paths["/v1/readings"]["post"]["requestBody"]>;
type Readings = Json<paths["/v1/readings"]["get"]["responses"]["200"]>;
type CompletionSent = Json<paths["/v1/tasks/{id}/completions"]["post"]["requestBody"]>;
type Completion = Json<paths["/v1/tasks/{id}/completions"]["post"]["responses"]["201"]>;
"""

SOUND = """
export const tank: TankSent = {
  name: "Brook show tank",
  system: "brook",
  use: "display",
  footprint: { shape: "rectangle", length: "72 in", width: { value: 60, unit: "cm" } },
  rim_height: "60 cm",
  water_depth: "55 cm",
};
export function volume(of: Tank): string {
  return of.net_volume === null ? "unknown" : `${of.net_volume.value.toFixed(1)} ${of.net_volume.unit}`;
}
export function across(of: Tank): number | null {
  return of.footprint?.shape === "circle" ? of.footprint.diameter.value : null;
}
export const reading: ReadingSent = { gauge: "nursery-temperature", value: 24.6, at: "2026-11-25T08:00:00Z" };
export const readings: ReadingSent = { readings: [{ place: "tanks/nursery", parameter: "nitrate", value: "<5" }] };
export function values(of: Readings): number[] {
  return of.items.flatMap((one) => ("value" in one ? [one.value] : one.mean === null ? [] : [one.mean]));
}
export const done: CompletionSent = {
  occurrence: "x",
  outcome: "done",
  done_at: "2026-11-25T18:00:00Z",
  by: "ana",
  note: null,
  readings: [{ gauge: "nursery-temperature", value: 24.6 }],
};
export function told(of: Completion): string {
  const when: string = of.done_at;
  const gauges: string[] = (of.readings ?? []).map((one) => one.gauge);
  return `${of.outcome} by ${of.by ?? of.recorded_by} at ${when}, ${gauges.join()}, version ${of.version + 1}`;
}
"""

FAULTS = {
    "a_tank_without_a_name": 'export const x: TankSent = { use: "display" };',
    "a_tank_with_a_colour": 'export const x: TankSent = { name: "A", use: "display", colour: "blue" };',
    "a_use_that_is_none": 'export const x: TankSent = { name: "A", use: "soup" };',
    "a_volume_that_may_be_null": "export const x = (of: Tank): number => of.net_volume.value;",
    "a_field_no_tank_shows": "export const x = (of: Tank): unknown => of.colour;",
    "a_reading_without_a_value": 'export const x: ReadingSent = { gauge: "a" };',
    "a_reading_with_a_list_for_a_value": 'export const x: ReadingSent = { gauge: "a", value: [24.6] };',
    "a_reading_misspelt": 'export const x: ReadingSent = { guage: "a", value: 24.6 };',
    "a_completion_without_an_occurrence": 'export const x: CompletionSent = { outcome: "done" };',
    "an_outcome_that_is_none": 'export const x: CompletionSent = { occurrence: "x", outcome: "lost" };',
    "a_field_no_completion_shows": "export const x = (of: Completion): unknown => of.colour;",
}
"""One line each, which must not compile."""


def run(*command, folder, seconds=60):
    return subprocess.run(
        command, cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=seconds
    )


@pytest.fixture(scope="module")
def described(application):
    with application.app_context():
        return document()


@pytest.fixture(scope="module")
def compiled(described, tmp_path_factory):
    """Installs the packages, generates the types, and offers a compiler: its complaints of the files named."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if not (node and npm):
        pytest.skip("Node or npm is not here")
    folder = tmp_path_factory.mktemp("types")
    version = run(node, "--version", folder=folder).stdout.strip()
    if int(version.removeprefix("v").partition(".")[0]) < OLDEST_NODE:
        pytest.skip(f"Node {version} is too old for {PACKAGES[0]}")
    # A package of its own, or npm would look for one in the folders above.
    (folder / "package.json").write_text('{"private": true}', encoding="utf-8")
    quiet = ("--no-audit", "--no-fund", "--ignore-scripts", "--no-package-lock", "--no-update-notifier")
    patience = ("--fetch-retries=1", "--fetch-retry-mintimeout=500", "--fetch-timeout=10000")
    try:
        installed = run(npm, "install", *quiet, *patience, *PACKAGES, folder=folder, seconds=45)
    except subprocess.TimeoutExpired:
        pytest.skip("the npm registry did not answer in time")
    if installed.returncode != 0 and UNREACHED.search(installed.stderr):
        pytest.skip("the npm registry can't be reached")
    assert installed.returncode == 0, installed.stderr

    modules = folder / "node_modules"
    (folder / "document.json").write_text(json.dumps(described), encoding="utf-8")
    generator = modules / "openapi-typescript" / "bin" / "cli.js"
    generated = run(node, generator, "document.json", "--output", "weirbook.d.ts", folder=folder)
    assert generated.returncode == 0 and "warn" not in generated.stderr.lower(), generated.stderr

    def compile_(programs):
        for name, text in programs.items():
            (folder / f"{name}.ts").write_text(text, encoding="utf-8")
        files = [f"{name}.ts" for name in programs]
        compiler = modules / "typescript" / "bin" / "tsc"
        options = ("--strict", "--noEmit", "--target", "es2022", "--pretty", "false")
        ended = run(node, compiler, *options, *files, "weirbook.d.ts", folder=folder)
        complaints = [line for line in ended.stdout.splitlines() if not line.startswith(" ")]
        assert bool(complaints) == (ended.returncode != 0), ended.stdout + ended.stderr
        return complaints

    return compile_


@pytest.fixture(scope="module")
def complaints(compiled):
    """Of all faulty programs, compiled at once."""
    return compiled({name: OPENING + line for name, line in FAULTS.items()})


def test_a_program_of_tanks_readings_and_completions_compiles(compiled):
    assert compiled({"sound": OPENING + SOUND}) == []


def test_every_operation_has_its_types(compiled, described):
    names = [
        said["operationId"]
        for item in described["paths"].values()
        for method, said in item.items()
        if method != "parameters"
    ]
    listed = " | ".join(f'"{name}"' for name in names)
    assert len(names) > 80
    program = f"""import type {{ operations }} from "./weirbook";
type Listed = {listed};
type Odd = [Exclude<Listed, keyof operations>, Exclude<keyof operations, Listed>];
export const same: Odd extends [never, never] ? true : false = true;
"""
    assert compiled({"complete": program}) == []


@pytest.mark.parametrize("fault", FAULTS)
def test_a_wrong_field_does_not_compile(complaints, fault):
    found = [line for line in complaints if line.startswith(f"{fault}.ts(")]
    last_line = OPENING.count("\n") + 1
    assert [re.sub(r",\d+\): error TS\d+:.*", "", line) for line in found] == [f"{fault}.ts({last_line}"]
