"""The REST API: strict JSON in, problem details out, made from the doors and looks of the apps."""
