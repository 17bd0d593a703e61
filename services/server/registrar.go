package server

import (
	"context"
	"slices"

	"google.golang.org/grpc"

	"seamshare.example/services/fault"
)

// registrar registers services so that bytes which are not the method's message
// are refused as the caller's mistake. gRPC by itself calls that INTERNAL, before
// any interceptor.
type registrar struct {
	*grpc.Server
}

func (r registrar) RegisterService(desc *grpc.ServiceDesc, impl any) {
	c := *desc
	c.Methods = slices.Clone(desc.Methods)
	for i := range c.Methods {
		handle := c.Methods[i].Handler
		c.Methods[i].Handler = func(srv any, ctx context.Context, decode func(any) error, interceptor grpc.UnaryServerInterceptor) (any, error) {
			return handle(srv, ctx, func(message any) error {
				if err := decode(message); err != nil {
					return malformed(message, err)
				}
				return nil
			}, interceptor)
		}
	}
	r.Server.RegisterService(&c, impl)
}

func malformed(message any, err error) error {
	return fault.New(fault.MalformedRequest, "the bytes sent are not a %s message", nameOf(message)).Because(err)
}
