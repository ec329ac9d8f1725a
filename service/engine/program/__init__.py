"""From layouts to a cut program: numbered steps an operator can follow, their time and cost."""
