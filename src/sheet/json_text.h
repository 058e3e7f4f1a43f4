// Writes JSON text piece by piece. The caller opens, fills and closes; keys are given in sorted order, so that the same
// sheet always gives the same bytes. Strings may be any bytes: what is not UTF-8 becomes U+FFFD, and what could move or
// hide text on a terminal (control and bidirectional characters) is written as \u escapes.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::sheet {

class JsonText {
 public:
  enum class Style { compact, indented };
  explicit JsonText(Style style) : indented_(style == Style::indented) {}

  void begin_object() { open('{', false); }
  void end_object() { close('}'); }
  void begin_array() { open('[', false); }
  void begin_number_list() { open('[', true); }  ///< an array that stays on one line
  void end_array() { close(']'); }

  void key(std::string_view name);
  void text(std::string_view bytes);
  void boolean(bool value);
  void integer(std::int64_t value);
  void null();
  void number(double value, int decimals);  ///< NaN and infinities become null
  void seconds(double value);               ///< to the microsecond, finer than one frame at 384 kHz; no idle zeros

  void text(std::string_view name, std::string_view bytes) { key(name), text(bytes); }
  void boolean(std::string_view name, bool value) { key(name), boolean(value); }
  void integer(std::string_view name, std::int64_t value) { key(name), integer(value); }
  void null(std::string_view name) { key(name), null(); }
  void number(std::string_view name, double value, int decimals) { key(name), number(value, decimals); }
  void seconds(std::string_view name, double value) { key(name), seconds(value); }
  void text_unless_empty(std::string_view name, std::string_view bytes) {
    if (!bytes.empty()) text(name, bytes);
  }

  /// The text so far; leaves the writer empty.
  [[nodiscard]] std::string take() { return std::move(out_); }

 private:
  struct Level {
    bool empty;
    bool one_line;
  };
  void open(char bracket, bool one_line);
  void close(char bracket);
  void before_value();
  void new_line();
  void quote(std::string_view bytes);

  std::string out_;
  std::vector<Level> levels_;
  bool indented_;
  bool after_key_ = false;
};

}  // namespace sendworthy::sheet
