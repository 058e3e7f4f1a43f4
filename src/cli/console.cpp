#include "cli/console.h"

#include <algorithm>
#include <cstdlib>

#include "cli/process.h"
#include "base/text.h"

namespace sendworthy::cli {
namespace {

using os::Stream;

constexpr auto kRedrawEvery = std::chrono::milliseconds(50);
constexpr std::string_view kEraseLine = "\r\033[K";

std::atomic<bool> line_on_screen{false};
static_assert(std::atomic<bool>::is_always_lock_free, "read inside signal handlers");

bool reader_left = false;

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
  const auto error = os::write_all(Stream::out, text);
  if (!error) return {};
  if (error == std::errc::broken_pipe) reader_left = true;
  return fail(ErrorCode::output, "cannot write to standard output: " + error.message() +
                                     (error == std::errc::no_space_on_device ? "; make room where it leads to, or lead it elsewhere" : ""));
}

bool stdout_reader_left() { return reader_left; }

void write_stderr(std::string_view text) {
  // There is nowhere left to report to when this fails.
  (void)os::write_all(Stream::err, text);
}

void complain(std::string_view text) { write_stderr("sendworthy: " + base::for_terminal(text) + "\n"); }

bool stdout_is_terminal() { return os::is_terminal(Stream::out); }

int sheet_columns() { return stdout_is_terminal() ? std::clamp(os::terminal_columns(Stream::out), 40, 80) : 80; }

Colour colour_for(ColourWish wish, bool to_stdout) {
  if (wish == ColourWish::always) return Colour::on;
  if (wish == ColourWish::never || !to_stdout || !stdout_is_terminal() || !terminal_rewrites_lines())
    return Colour::off;
  const char* no_color = std::getenv("NO_COLOR");
  return no_color != nullptr && *no_color != '\0' ? Colour::off : Colour::on;
}

ProgressLine::ProgressLine(bool wanted) {
  on_ = wanted && os::is_terminal(Stream::err) && terminal_rewrites_lines();
  if (!on_) return;
  columns_ = std::max(os::terminal_columns(Stream::err), 20);
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
    head =
        "[" + std::to_string(std::min(progress.file + 1, progress.files)) + "/" + std::to_string(progress.files) + "] ";
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
  if (line_on_screen.exchange(false)) (void)os::write_all(Stream::err, kEraseLine);
}

}  // namespace sendworthy::cli
