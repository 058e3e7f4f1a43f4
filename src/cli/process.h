// What the program asks of the system beside files: the standard streams, the terminal behind them, the process.
#pragma once

#include <sendworthy/result.h>

#include <atomic>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <system_error>

namespace sendworthy::cli::os {

enum class Stream { in = 0, out = 1, err = 2 };

/// Writes all of `text`; an error such as std::errc::broken_pipe when it could not. Async-signal-safe.
[[nodiscard]] std::error_code write_all(Stream stream, std::string_view text) noexcept;

/// Standard input to its end. Errors: unreadable (also beyond `limit` bytes); interrupted once `stop` is set.
[[nodiscard]] Result<std::string> read_stdin(std::size_t limit, const std::atomic<bool>& stop);

/// Drops what was typed and not read yet, which is no answer to what is asked next.
void forget_typed_ahead() noexcept;

/// The next line of a terminal on standard input, without its end; nothing once the input is closed (Ctrl-D). Errors: unreadable;
/// interrupted once `stop` is set.
[[nodiscard]] Result<std::optional<std::string>> read_line(const std::atomic<bool>& stop);

[[nodiscard]] bool is_terminal(Stream stream);
/// Columns of the terminal behind a stream; 80 when nobody knows.
[[nodiscard]] int terminal_columns(Stream stream);

/// Every standard stream is open afterwards. One that was closed fails when it is used, instead of being given to the
/// next file that is opened.
void hold_standard_streams();

/// Ends the process without running destructors. Async-signal-safe.
[[noreturn]] void exit_now(int code) noexcept;

/// Raises SIGALRM after so many seconds. Async-signal-safe.
void alarm_after(unsigned seconds) noexcept;

}  // namespace sendworthy::cli::os
