"""One case: case file, the plan from scans to bend, checks, visits, studies."""
