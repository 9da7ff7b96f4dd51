"""Coverage-guided fuzzing of every door through which a file comes in; see docs/trust.md.

    python fuzz/fuzz_mesh.py --door ply -runs=100000 -rss_limit_mb=1024
    python fuzz/fuzz_case.py --door case -runs=100000 -rss_limit_mb=1024

Options with one dash are libFuzzer's. ``doors.py`` says what may happen to an input (the oracle) and holds the small
good files that mutation starts from; the tests in ``tests/trust`` use both. An input that breaks the oracle is written
by libFuzzer as ``crash-...``: turn it into a row of ``tests/trust/bad_files.py`` when the fault is mended.
Needs atheris (``pip install atheris``), which has wheels for Linux and macOS.
"""
