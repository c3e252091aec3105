"""What tests of cases may ask for beside the world: a department at work."""

from tests.trays.processing.conftest import department as department
