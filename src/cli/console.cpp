#include "cli/console.h"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <system_error>

#include "base/text.h"

namespace sendworthy::cli {
namespace {

constexpr auto kRedrawEvery = std::chrono::milliseconds(50);
constexpr std::string_view kEraseLine = "\r\033[K";

std::atomic<bool> line_on_screen{false};
static_assert(std::atomic<bool>::is_always_lock_free, "read inside signal handlers");

bool reader_left = false;

/// 0, or errno.
int write_all(int descriptor, std::string_view text) {
  while (!text.empty()) {
    const auto wrote = ::write(descriptor, text.data(), text.size());
    if (wrote < 0) {
      if (errno == EINTR) continue;
      return errno;
    }
    text.remove_prefix(static_cast<std::size_t>(wrote));
  }
  return 0;
}

int terminal_columns(int descriptor) {
  winsize size{};
  if (::ioctl(descriptor, TIOCGWINSZ, &size) == 0 && size.ws_col > 0) return size.ws_col;
  return 80;
}

bool terminal_rewrites_lines() {
  const char* term = std::getenv("TERM");
  return term != nullptr && *term != '\0' && std::string_view(term) != "dumb";
}

/// The end of a long text, which holds the part of a path that tells files apart.
std::string last_columns(std::string_view text, int columns) {
  if (base::columns(text) <= columns) return std::string(text);
  std::size_t start = 0;
  while (start < text.size() && base::columns(text.substr(start)) > columns - 3) {
    ++start;
    while (start < text.size() && (static_cast<unsigned char>(text[start]) & 0xC0) == 0x80) ++start;
  }
  return "..." + std::string(text.substr(start));
}

}  // namespace

Result<void> write_stdout(std::string_view text) {
  const int error = write_all(STDOUT_FILENO, text);
  if (error == 0) return {};
  if (error == EPIPE) reader_left = true;
  return fail(ErrorCode::output, "cannot write to standard output: " + std::generic_category().message(error));
}

bool stdout_reader_left() { return reader_left; }

void write_stderr(std::string_view text) {
  // There is nowhere left to report to when this fails.
  (void)write_all(STDERR_FILENO, text);
}

void complain(std::string_view text) { write_stderr("sendworthy: " + base::for_terminal(text) + "\n"); }

bool stdout_is_terminal() { return ::isatty(STDOUT_FILENO) == 1; }

int sheet_columns() { return stdout_is_terminal() ? std::clamp(terminal_columns(STDOUT_FILENO), 40, 80) : 80; }

Colour colour_for(ColourWish wish, bool to_stdout) {
  if (wish == ColourWish::always) return Colour::on;
  if (wish == ColourWish::never || !to_stdout || !stdout_is_terminal() || !terminal_rewrites_lines()) return Colour::off;
  const char* no_color = std::getenv("NO_COLOR");
  return no_color != nullptr && *no_color != '\0' ? Colour::off : Colour::on;
}

ProgressLine::ProgressLine(bool wanted) {
  on_ = wanted && ::isatty(STDERR_FILENO) == 1 && terminal_rewrites_lines();
  if (!on_) return;
  columns_ = std::max(terminal_columns(STDERR_FILENO), 20);
  draw("reading ...");
}

ProgressLine::~ProgressLine() { erase(); }

void ProgressLine::draw(std::string_view text) {
  line_on_screen = true;
  write_stderr(std::string(kEraseLine) + std::string(text));
}

void ProgressLine::show(const Progress& progress) {
  if (!on_) return;
  const std::lock_guard lock(mutex_);
  const auto now = std::chrono::steady_clock::now();
  if (now - last_ < kRedrawEvery) return;
  last_ = now;
  const auto percent = static_cast<int>(100.0 * std::clamp(progress.fraction, 0.0, 1.0));
  std::string head;
  if (progress.files > 1) {
    head = "[" + std::to_string(std::min(progress.file + 1, progress.files)) + "/" + std::to_string(progress.files) +
           "] ";
  }
  const auto tail = " " + std::to_string(percent) + " %";
  // One column stays free: a full line would wrap, and a wrapped line cannot be erased in place.
  const int room = std::max(columns_ - 1 - base::columns(head) - base::columns(tail), 4);
  draw(head + last_columns(base::for_terminal(progress.path), room) + tail);
}

void ProgressLine::erase() {
  const std::lock_guard lock(mutex_);
  if (line_on_screen.exchange(false)) write_stderr(kEraseLine);
  on_ = false;
}

void erase_progress_from_signal() noexcept {
  if (line_on_screen.exchange(false)) (void)!::write(STDERR_FILENO, kEraseLine.data(), kEraseLine.size());
}

void hold_standard_descriptors() {
  for (int descriptor = 0; descriptor <= 2; ++descriptor) {
    if (::fcntl(descriptor, F_GETFD) != -1 || errno != EBADF) continue;
    // open() gives the lowest free number, which is this one. Opened the wrong way round, so that use is an error.
    (void)!::open("/dev/null", descriptor == STDIN_FILENO ? O_WRONLY : O_RDONLY);
  }
}

}  // namespace sendworthy::cli
