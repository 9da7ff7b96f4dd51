"""The periodontal ligament between rigid tooth and rigid bone: springs, foundation, thin layer."""
