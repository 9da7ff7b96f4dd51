"""The self-test: published figures and closed forms computed again on the user's own machine, in seconds."""
