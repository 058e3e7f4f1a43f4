// The arguments of one command: declared once, parsed by CLI11, shown by --help.
#pragma once

#include <sendworthy/result.h>

#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace sendworthy::cli {

/// What --help says around the list of options. Examples come first: they are what a reader looks for.
struct Manual {
  std::string_view name;
  std::string_view synopsis;                                            ///< "check [options] FILE..."
  std::string_view summary;                                             ///< one or two sentences
  std::vector<std::pair<std::string_view, std::string_view>> examples;  ///< command, what it does
  std::vector<std::string_view> notes;                                  ///< paragraphs after the options
};

/// Declares options, parses, and writes the help. Options stand before or after operands; "--" ends the options.
/// A repeated option with one value: the last one wins.
class Arguments {
 public:
  explicit Arguments(const Manual& manual);
  Arguments(const Arguments&) = delete;
  Arguments& operator=(const Arguments&) = delete;
  ~Arguments();

  /// Starts a block of options in the help.
  void section(std::string_view heading);
  /// `names` as in "-q,--quiet". The targets must outlive this object.
  void flag(const std::string& names, bool& target, std::string_view help);
  void value(const std::string& names, std::string_view value_name, std::string& target, std::string_view help);
  /// May be given several times, one value each.
  void values(const std::string& names, std::string_view value_name, std::vector<std::string>& target,
              std::string_view help);
  /// May be given several times, and takes every following value of the form key=value (key: a–z, 0–9, _) as well, so
  /// that `--expect sample_rate=48000 bit_depth=24 mix.wav` leaves mix.wav alone.
  void pairs(const std::string& names, std::string_view value_name, std::vector<std::string>& target,
             std::string_view help);
  void operands(std::vector<std::string>& target);

  /// True when the option (long name with dashes) was given.
  [[nodiscard]] bool given(const std::string& long_name) const;

  /// Error: usage, with the nearest right name.
  [[nodiscard]] Result<void> parse(const std::vector<std::string>& arguments);

  [[nodiscard]] bool help_wanted() const { return help_wanted_; }
  /// At most 80 columns.
  [[nodiscard]] std::string help() const;

 private:
  struct Option;
  struct Impl;
  [[nodiscard]] Result<std::vector<std::string>> prepare(const std::vector<std::string>& arguments,
                                                         std::vector<std::string>& found) const;
  [[nodiscard]] Error unknown_option(const std::string& token) const;

  Manual manual_;
  std::vector<Option> options_;
  std::string heading_ = "Options";
  std::vector<std::string>* operands_ = nullptr;
  bool help_wanted_ = false;
  std::unique_ptr<Impl> impl_;
};

/// The whole number in `text`, within bounds. Error: usage, naming the option.
[[nodiscard]] Result<int> whole_number(std::string_view option, std::string_view text, int lowest, int highest);

/// Seconds in `text`, such as "2" or "0.5", within bounds. Error: usage, naming the option.
[[nodiscard]] Result<double> seconds_between(std::string_view option, std::string_view text, double lowest, double highest);

/// `text` when it is one of `accepted`; else an error naming the option, all accepted words and the nearest one.
[[nodiscard]] Result<std::string> one_of(std::string_view option, std::string_view text,
                                         const std::vector<std::string_view>& accepted);

/// "a, b or c".
[[nodiscard]] std::string listed(const std::vector<std::string_view>& words);

/// Paragraph at an indent, wrapped at 80 columns, with a line end.
[[nodiscard]] std::string paragraph(std::string_view text, int indent = 0);

/// A term in a column of `width` and its text beside it; the text starts below where the term is too long.
[[nodiscard]] std::string term_row(std::string_view term, std::string_view text, int indent, int width);

}  // namespace sendworthy::cli
