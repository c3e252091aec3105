"""Pure: GS1 element strings, HIBC, check digits, what a scan claims to be. Knows no Django."""
