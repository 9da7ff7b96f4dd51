"""Finding anatomy on whole scans: planes, arch form, crowns of an upper arch; midline and landmarks of a head.

Everything found is a proposal with a confidence, to be verified; nothing here is a diagnosis.
"""
