"""Physics: ligament, centre of resistance, bow as a wire, strap, statics, bend. Arrays in, arrays out."""
