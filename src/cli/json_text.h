// A small JSON writer for what is no sheet: rule sets, explanations, the self-test.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::cli {

/// Writes one value, two spaces per level. Calls follow JSON's grammar; bytes that are no UTF-8 are replaced.
class JsonText {
 public:
  void open_object();
  void close_object();
  void open_array();
  void close_array();
  void key(std::string_view name);
  void text(std::string_view value);
  void number(double value);  ///< shortest form that reads back; null when it is not finite
  void number(double value, int decimals);
  void boolean(bool value);

  void member(std::string_view name, std::string_view value) { key(name), text(value); }
  void member(std::string_view name, const char* value) { member(name, std::string_view(value)); }
  void member(std::string_view name, const std::string& value) { member(name, std::string_view(value)); }
  void member(std::string_view name, bool value) { key(name), boolean(value); }
  void member(std::string_view name, int value) { key(name), number(value); }
  void member(std::string_view name, double value) { key(name), number(value); }
  void member(std::string_view name, const std::vector<std::string>& values);

  /// The text so far, with a line end.
  [[nodiscard]] std::string finished() const { return out_ + "\n"; }

 private:
  void before_value();
  void close(char bracket);

  std::string out_;
  int depth_ = 0;
  bool empty_ = true;  ///< nothing stands in the innermost bracket yet
  bool after_key_ = false;
};

}  // namespace sendworthy::cli
