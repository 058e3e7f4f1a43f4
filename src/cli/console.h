// The program's mouth: standard output, standard error, the terminal behind them, and the progress line.
#pragma once

#include <sendworthy/check.h>
#include <sendworthy/render.h>
#include <sendworthy/result.h>

#include <atomic>
#include <chrono>
#include <mutex>
#include <string>
#include <string_view>

namespace sendworthy::cli {

enum class ColourWish { automatic, always, never };

/// Standard output to the end. Error: output. A reader that went away is an error too, though not one to
/// shout about: see stdout_reader_left().
[[nodiscard]] Result<void> write_stdout(std::string_view text);

/// True when standard output has lost its reader (a closed pipe), so that no message is due.
[[nodiscard]] bool stdout_reader_left();

/// One line on standard error, "sendworthy: text", cleaned for a terminal. Never fails.
void complain(std::string_view text);
/// Text of our own on standard error as it is.
void write_stderr(std::string_view text);

[[nodiscard]] bool stdout_is_terminal();

/// Columns for a text sheet on standard output: 80, less on a narrower terminal, never below 40.
[[nodiscard]] int sheet_columns();

/// `always` and `never` are obeyed; `automatic` asks for a terminal, a TERM other than dumb, and no NO_COLOR.
[[nodiscard]] Colour colour_for(ColourWish wish, bool to_stdout);

/// One line on standard error that is rewritten in place, and is gone when this object is. Silent unless wanted and
/// standard error is a terminal that can rewrite a line.
class ProgressLine {
 public:
  explicit ProgressLine(bool wanted);
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  ~ProgressLine();
  /// From any thread, at any rate; redrawn at most every 50 ms.
  void show(const Progress& progress);
  void erase();

 private:
  void draw(std::string_view text);

  bool on_ = false;
  int columns_ = 80;
  std::mutex mutex_;
  std::chrono::steady_clock::time_point last_;
};

/// Erases a progress line that is on the screen right now. For signal handlers.
void erase_progress_from_signal() noexcept;

}  // namespace sendworthy::cli
