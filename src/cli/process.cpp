#include "cli/process.h"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cerrno>

namespace sendworthy::cli::os {
namespace {

int number(Stream stream) { return static_cast<int>(stream); }

}  // namespace

std::error_code write_all(Stream stream, std::string_view text) noexcept {
  while (!text.empty()) {
    const auto wrote = ::write(number(stream), text.data(), text.size());
    if (wrote < 0) {
      if (errno == EINTR) continue;
      return {errno, std::generic_category()};
    }
    text.remove_prefix(static_cast<std::size_t>(wrote));
  }
  return {};
}

Result<std::string> read_stdin(std::size_t limit, const std::atomic<bool>& stop) {
  std::string text;
  std::array<char, 1 << 16> buffer;
  for (;;) {
    const auto got = ::read(STDIN_FILENO, buffer.data(), buffer.size());
    if (stop.load(std::memory_order_relaxed)) return fail(ErrorCode::interrupted, "interrupted");
    if (got < 0) {
      if (errno == EINTR) continue;
      return fail(ErrorCode::unreadable, "cannot read standard input: " + std::generic_category().message(errno));
    }
    if (got == 0) return text;
    if (text.size() + static_cast<std::size_t>(got) > limit) {
      return fail(ErrorCode::unreadable, "standard input holds more than " + std::to_string(limit >> 20) + " MiB");
    }
    text.append(buffer.data(), static_cast<std::size_t>(got));
  }
}

void forget_typed_ahead() noexcept { (void)::tcflush(STDIN_FILENO, TCIFLUSH); }

Result<std::optional<std::string>> read_line(const std::atomic<bool>& stop) {
  std::string line;
  std::array<char, 4096> buffer;  // a terminal hands out one line at a time, and none that is longer
  for (;;) {
    if (stop.load(std::memory_order_relaxed)) return fail(ErrorCode::interrupted, "interrupted");
    const auto got = ::read(STDIN_FILENO, buffer.data(), buffer.size());
    if (got < 0) {
      if (errno == EINTR) continue;
      // The terminal has gone.
      if (errno == EIO) return std::nullopt;
      return fail(ErrorCode::unreadable, "cannot read standard input: " + std::generic_category().message(errno));
    }
    if (got == 0) return std::nullopt;
    line.append(buffer.data(), static_cast<std::size_t>(got));
    if (const auto end = line.find('\n'); end != line.npos) return line.substr(0, end);
    if (line.size() > 16 * buffer.size()) return fail(ErrorCode::unreadable, "standard input holds a line that is longer than a terminal's");
  }
}

bool is_terminal(Stream stream) { return ::isatty(number(stream)) == 1; }

int terminal_columns(Stream stream) {
  winsize size{};
  return ::ioctl(number(stream), TIOCGWINSZ, &size) == 0 && size.ws_col > 0 ? size.ws_col : 80;
}

void hold_standard_streams() {
  for (int descriptor = 0; descriptor <= 2; ++descriptor) {
    if (::fcntl(descriptor, F_GETFD) != -1 || errno != EBADF) continue;
    // open() gives the lowest free number, which is this one. Opened the wrong way round, so that use is an error.
    (void)!::open("/dev/null", descriptor == STDIN_FILENO ? O_WRONLY : O_RDONLY);
  }
}

void exit_now(int code) noexcept { ::_exit(code); }

void alarm_after(unsigned seconds) noexcept { ::alarm(seconds); }

}  // namespace sendworthy::cli::os
