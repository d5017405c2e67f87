"""What every C89 program has in common: reading a reply, showing it, and what comes when; 40 columns."""

from typing import Final

READING: Final = """\
/* a line; 0: not as it must be */
static int get_line(unsigned want)
{
  int c;
  length = 0;
#if END_CHAR < 0
  while (length < want) {
    c = channel_get();
    if (c < 0)
      return 0;
#else
  for (;;) {
    c = channel_get();
    if (c < 0)
      return 0;
    if (c == END_CHAR)
      break;
    if (c == NO_CHAR)
      continue;
#endif
    if (length < sizeof line)
      line[length++] = (unsigned char)c;
  }
#if CHECK
  return length == want && right();
#else
  return want > 0;
#endif
}

static unsigned long number(
  unsigned at, unsigned end)
{
  unsigned long sum = 0;
  for (; at < end; ++at)
    sum = sum * 10 + (line[at] & 15);
  return sum;
}
"""

SHOWING: Final = """\
/* ---- what is shown */
static void show_text(const char *text)
{
  while (*text)
    SHOW(*text++);
}

static void show_part(
  unsigned at, unsigned end)
{
  for (; at < end; ++at)
    SHOW(line[at]);
  SHOW('\\n');
}

static void show_record(void)
{
  unsigned i, start;
  for (i = 0; i < sizeof fields /
         sizeof fields[0]; ++i) {
    show_text(fields[i].name);
    show_text(": ");
    start = fields[i].start;
    show_part(start, start +
              fields[i].width);
  }
  SHOW('\\n');
}

static int failed(void)
{
  show_text("ERROR ");
  show_part(0, 3);
  next_line();
  get_line((unsigned)number(10, 13));
#if CHECK
  length -= length < CHECK ? length
                           : CHECK;
#endif
  show_part(0, length);
  show_text("END\\n");
  return 1;
}
"""

SETUP: Final = """\
#if CHECK
  for (;;) {
    put_text(setup);
    put_end();
    if (get_line(16 + CHECK)
        && line[0] == '2')
      break;
    if (--tries == 0)
      return failed();
    drain();
  }
#else
  put_text(setup);
  put_end();
  get_line(16);
  if (line[0] != '2')
    return failed();
#endif
#if CHECK && WINDOW && CHANGES
  put_end(); /* SET is over */
#endif
"""

MAIN: Final = """\
#if CHECK
/* a line was wrong: ask again */
static int again(void)
{
  int silent = length == 0;
  if (--tries == 0)
    return 0;
  drain();
#if WINDOW
  /* MORE did not arrive: this is the
     old page's last record */
  if (begun == 2 && length == width
      && right()) {
    put_request(1);
    return 1;
  }
#endif
#if CHANGES /* never told twice */
  if (begun < 2 || !silent)
#else
  if (begun == 1 || (begun && !silent))
#endif
    put_request(2);
  else
    put_request(asked);
  return 1;
}

/* 500: the request came wrong */
static int refused(void)
{
  if (number(0, 3) != 500)
    return 0;
  if (--tries == 0)
    return 0;
  drain();
  put_request(asked);
  return 1;
}
#endif

int main(void)
{
  unsigned long left = 0;
  unsigned char follow;
  int good;
#if CHECK && !WINDOW
  unsigned char alone;
#endif
  OPEN();
#if CHECK
  tries = TRIES;
  begun = 0;
#endif
@SETUP@  put_request(0);
  for (;;) {
    if (!get_line(16 + CHECK)) {
#if CHECK
      if (again())
        continue;
#endif
      return failed();
    }
    if (line[0] != '2') {
#if CHECK
      if (refused())
        continue;
#endif
      return failed();
    }
#if CHECK && !WINDOW
    /* AGAIN n is record n alone */
    alone = begun == 1;
    if (!alone)
#endif
    left = number(4, 9);
    width = (unsigned)number(10, 13);
    follow = line[14];
#if CHECK
#if WINDOW > 1
    fresh = 1;
#elif !WINDOW
    fresh = begun != 1;
#endif
    if (begun != 1) {
      begun = 1;
      next = 1;
    }
#endif
    for (good = 1; left; --left) {
#if CHECK && !WINDOW
      if (alone > 1)
        break;
      alone *= 2;
#endif
      next_line();
      good = get_line(width);
      if (!good)
        break;
#if CHECK && WINDOW != 1
      if (fresh && doubt
          && first == sum) {
        begun = 2;
        drain();
        put_request(1);
        break;
      }
      if (fresh)
        first = sum;
      fresh = 0;
#endif
      show_record();
#if CHECK
      tries = TRIES;
      ++next;
#endif
    }
#if CHECK
    if (begun == 2)
      continue;
    if (left) {
      if (good)
        put_request(2);
      else if (!again())
        return failed();
      continue;
    }
    begun = 2;
#endif
    if (follow != '+')
      break;
    put_request(1);
  }
  show_text("END\\n");
  return 0;
}
"""
