"""The ground that every app stands on: people, record, work, paper, law."""
