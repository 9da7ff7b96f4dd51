"""How sure the centre of resistance is: inputs with distributions, an ellipsoid, bands, and what matters most."""
