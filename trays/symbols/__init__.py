"""Pure: payload to bars and modules, paper to dots. Knows no Django and no database."""
