// Errors and results. A Result holds a value or an Error; no exception crosses a folder of this library.
#pragma once

#include <string>
#include <string_view>
#include <utility>

#include <tl/expected.hpp>

namespace sendworthy {

/// What kind of thing went wrong. The program derives its exit code from this and from nothing else.
enum class ErrorCode {
  usage,         ///< the call is wrong (exit 2)
  rules,         ///< a rule set, configuration, plan or order is wrong (exit 2)
  missing,       ///< the input does not exist (exit 3)
  unreadable,    ///< the input exists and cannot be read: rights, a device, a folder (exit 3)
  unrecognised,  ///< the input is no audio file this program knows, or its header is illegal (exit 3)
  no_audio,      ///< not one frame could be decoded; a folder without audio (exit 3)
  output,        ///< an output could not be written (exit 3)
  interrupted,   ///< the user stopped the run (exit 130)
};

/// The stable word of an error code, as it stands in JSON.
[[nodiscard]] std::string_view to_string(ErrorCode code);

/// Where in a text an error lies. Line and column count from 1; 0 means "unknown".
struct Place {
  std::string file;
  int line = 0;
  int column = 0;
};

/// An error that a person can act on: `text` names the thing, the reason and the remedy.
struct Error {
  ErrorCode code = ErrorCode::usage;
  std::string text;
  Place place;
};

/// `file:line:column: text`, leaving out what is unknown.
[[nodiscard]] std::string to_string(const Error& error);

template <class T>
using Result = tl::expected<T, Error>;

/// Shorthand for returning an error from a function with a Result.
[[nodiscard]] inline tl::unexpected<Error> fail(ErrorCode code, std::string text, Place place = {}) {
  return tl::unexpected<Error>(Error{code, std::move(text), std::move(place)});
}

}  // namespace sendworthy
