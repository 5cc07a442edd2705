"""Print the table of requirements and its counts."""

from tests.security.asvs.table import counts, rows

if __name__ == "__main__":
    for row in rows():
        print(f"{row['requirement']:<9} L{row['level']}  {row['status']:<15} {row['shown_by']}")
    for words, number in counts().items():
        print(f"{number:>4}  {words}")
