"""Water through the year: soil, stores, demand, reliability."""
