"""What pytest does not look into here: the peer's process, which runs in an environment of its own."""

collect_ignore = ["oven_peer_solvers.py"]
