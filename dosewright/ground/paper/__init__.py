"""Paper: the only home of the PDF library, symbols and fonts. Takes plain dataclasses, gives PDF bytes.

Identical content gives identical bytes. Text that does not fit is refused, never cut and never shrunk.
"""
