"""Water through many elements in a storm: who spills to whom, and routing."""
