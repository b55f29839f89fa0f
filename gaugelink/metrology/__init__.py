"""How far a number can be trusted: proving the gauge, studies, uncertainty, conformity, charts."""
